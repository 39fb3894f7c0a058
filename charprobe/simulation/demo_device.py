"""The device of the demo: an invented field preamp with two colour and four compressor settings."""

from __future__ import annotations

from dataclasses import replace

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


def _lamp() -> Stage:
    valve = Shaper("lamp", "square and cubic", Polynomial((0.02, -0.02)))
    top = Filter("top", "treble shelf", (treble_shelf(corner_hz=4500.0, gain_db=-1.2),), {})
    return Chain("colour lamp", "even colour and a soft top", (valve, top), {})


def _tape() -> Stage:
    tape = Shaper("tape", "symmetric saturation", Saturation(drive=0.9))
    low = Filter("low", "bass shelf", (bass_shelf(corner_hz=140.0, gain_db=0.9),), {})
    return Chain("colour tape", "odd colour and a lifted bottom", (tape, low), {})


def _level(name: str, bend: Bend, attack_s: float, release_s: float, makeup_db: float) -> Compressor:
    said = "one position of the level switch"
    return Compressor(name, said, (bend,), attack_s=attack_s, release_s=release_s, makeup_db=makeup_db)


SETTINGS: tuple[Stage, ...] = (
    _lamp(),  # for tired voices
    _tape(),  # for footsteps
    _level("level whisper", Bend(-32.0, slope_of(2.5), 8.0), 0.006, 0.12, 2.0),
    _level("level dialogue", Bend(-24.0, slope_of(4.0), 6.0), 0.02, 0.28, 1.0),
    _level("level shout", Bend(-18.0, slope_of(10.0), 0.0), 0.0006, 0.045, 0.5),
    replace(  # for beds that must not pump
        _level("level rain", Bend(-30.0, slope_of(2.0), 10.0), 0.012, 0.035, 1.5),
        slow_store=SlowStore(time_s=0.3, charge_s=0.1, share=0.5),
    ),
)
"""Positions of the preamp's switches, by name."""
BYPASS = Wire("off", "both switches off")
REPEATED = "level whisper"  # captured once more at the end, to show how far captures repeat
