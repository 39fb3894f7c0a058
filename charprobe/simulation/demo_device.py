"""The device of the demo: an invented field preamp with two colour and four compressor settings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from charprobe.simulation.devices.chain import Chain, Wire
from charprobe.simulation.devices.dynamics.compressor import Compressor, SlowStore
from charprobe.simulation.devices.parts.filters import Filter, bass_shelf, treble_shelf
from charprobe.simulation.devices.parts.gain_computer import Bend, slope_of
from charprobe.simulation.devices.shapers import Polynomial, Saturation, Shaper
from charprobe.simulation.devices.stage import Stage

STORY = (
    "A radio-drama crew records on location with a four-channel field preamp they built themselves. Its "
    "front panel has a switch called colour and a switch called level; nobody wrote down what they do."
)
TITLE = "The field preamp of the Lantern Street radio-drama crew"


@dataclass(frozen=True)
class DemoSetting:
    """A position of the preamp's switches: name, what the crew says of it, and the stage behind it."""

    name: str
    said: str
    build: Callable[[], Stage]


def _whisper() -> Stage:
    bend = Bend(-32.0, slope_of(2.5), 8.0)
    return Compressor("level whisper", "soft 2.5:1", (bend,), attack_s=0.006, release_s=0.12, makeup_db=2.0)


def _dialogue() -> Stage:
    bend = Bend(-24.0, slope_of(4.0), 6.0)
    return Compressor("level dialogue", "soft 4:1", (bend,), attack_s=0.02, release_s=0.28, makeup_db=1.0)


def _lamp() -> Stage:
    valve = Shaper("lamp", "square and cubic", Polynomial((0.02, -0.02)))
    top = Filter("top", "treble shelf", (treble_shelf(corner_hz=4500.0, gain_db=-1.2),), {})
    return Chain("colour lamp", "even colour and a soft top", (valve, top), {})


def _tape() -> Stage:
    tape = Shaper("tape", "symmetric saturation", Saturation(drive=0.9))
    low = Filter("low", "bass shelf", (bass_shelf(corner_hz=140.0, gain_db=0.9),), {})
    return Chain("colour tape", "odd colour and a lifted bottom", (tape, low), {})


def _shout() -> Stage:
    bend = Bend(-18.0, slope_of(10.0), 0.0)
    return Compressor("level shout", "hard 10:1", (bend,), attack_s=0.0006, release_s=0.045, makeup_db=0.5)


def _rain() -> Stage:
    bend = Bend(-30.0, slope_of(2.0), 10.0)
    slow = SlowStore(time_s=0.3, charge_s=0.1, share=0.5)
    return Compressor(
        "level rain",
        "soft 2:1, two stages",
        (bend,),
        attack_s=0.012,
        release_s=0.035,
        makeup_db=1.5,
        slow_store=slow,
    )


def _off() -> Stage:
    return Wire("off", "both switches off")


BYPASS = DemoSetting("off", "both switches off", _off)
SETTINGS: tuple[DemoSetting, ...] = (
    DemoSetting("colour lamp", "for tired voices", _lamp),
    DemoSetting("colour tape", "for footsteps", _tape),
    DemoSetting("level whisper", "for whispering into the microphone", _whisper),
    DemoSetting("level dialogue", "for two at a table", _dialogue),
    DemoSetting("level shout", "for doors and shouting", _shout),
    DemoSetting("level rain", "for beds that must not pump", _rain),
)
REPEATED = "level whisper"  # captured once more at the end, to show how far captures repeat
