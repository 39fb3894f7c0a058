"""Named faults of captures, each of a size that can be chosen, for trying out what a check says of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from charprobe.simulation.rig import faults, helpful_faults, room_faults
from charprobe.simulation.rig.rig import hum
from charprobe.values.arrays import Array
from charprobe.values.errors import CharprobeError


@dataclass(frozen=True)
class Fault:
    """One way in which a capture goes wrong.

    Attributes
    ----------
    summary : str
        What happens, in words.
    unit : str
        Unit of its size; empty where it has none.
    typical, lowest, highest : float
        Size it has when none is named, and the sizes it can have.
    apply : callable
        ``apply(capture, size, rate_hz)`` returns the faulty capture, shape (m, channels).
    needs_float : bool
        Whether the faulty samples are lost in a file of whole-number samples.
    time_ms : (float, float) or None
        Shortest and longest time it can have beside its size; then `apply` takes ``time_s``, too.
    """

    summary: str
    unit: str
    typical: float
    lowest: float
    highest: float
    apply: Callable[..., Array]
    needs_float: bool = False
    time_ms: tuple[float, float] | None = None

    @property
    def sizes(self) -> str:
        """The sizes in words: "0.1 to 20 dB, typically 1.4"."""
        if not self.unit:
            return "no size"
        times = "; a time after @, {:g} to {:g} ms, usually 4.1".format(*self.time_ms) if self.time_ms else ""
        return f"{self.lowest:g} to {self.highest:g} {self.unit}, typically {self.typical:.3g}{times}"


def fault_names() -> tuple[str, ...]:
    """Names of all faults, alphabetically."""
    return tuple(sorted(_FAULTS))


def fault_called(name: str) -> Fault:
    """Return a fault by name; `CharprobeError` lists the names there are."""
    if name not in _FAULTS:
        raise CharprobeError(f"no fault {name!r}; there are: {', '.join(fault_names())}")
    return _FAULTS[name]


def apply_fault(
    name: str, capture: Array, *, rate_hz: float, size: float | None = None, time_ms: float | None = None
) -> Array:
    """Return a capture of one second or more with a fault, at the middle of it where it has a place.

    `size` is in the fault's unit, None for the typical one; `time_ms` is the time between the paths of a
    fault that has one, None for 4.1 ms. `CharprobeError` if there is no such fault, or none of that size,
    lists what there is. Shapes (n, channels) and (m, channels).

    Examples
    --------
    >>> float(apply_fault("dc-offset", np.zeros((48_000, 1)), rate_hz=48e3)[0, 0])
    0.0125
    """
    fault = fault_called(name)
    if size is not None and not fault.unit:
        raise CharprobeError(f"the fault {name} has no size: write --fault {name}")
    if size is not None and not fault.lowest <= size <= fault.highest:
        raise CharprobeError(f"the fault {name} cannot have the size {size:g}: it has {fault.sizes}")
    timing = {}
    if time_ms is not None:
        if fault.time_ms is None or not fault.time_ms[0] <= time_ms <= fault.time_ms[1]:
            raise CharprobeError(
                f"the fault {name} cannot have the time {time_ms:g} ms: it has {fault.sizes}"
            )
        timing["time_s"] = time_ms / 1e3
    return fault.apply(capture, fault.typical if size is None else size, rate_hz, **timing)


def _middle(capture: Array) -> int:
    return int(capture.shape[0]) // 2


def _hum(capture: Array, level_dbfs: float, rate_hz: float) -> Array:
    rng = np.random.default_rng(50)
    line = hum(capture.shape[0], mains_hz=50.0, level_dbfs=level_dbfs, rate_hz=rate_hz, rng=rng)
    return capture + line[:, None]


def _clicks(capture: Array, height: float, rate_hz: float) -> Array:
    for at in (0.3, 0.5, 0.7):
        capture = faults.click(capture, at=int(at * capture.shape[0]), height=height)
    return capture


def _swapped(capture: Array, _: float, rate_hz: float) -> Array:
    first, second, count = capture.shape[0] // 4, capture.shape[0] // 2, capture.shape[0] // 8
    return faults.swap_stretches(capture, first=first, second=second, count=count)


def _low(capture: Array, gain_db: float, rate_hz: float) -> Array:
    noise = 10 ** (-110 / 20) / np.sqrt(2) * room_faults.own_chance(capture).standard_normal(capture.shape)
    return np.asarray(10 ** (gain_db / 20) * capture + noise)


_FAULTS: dict[str, Fault] = {
    "added-silence": Fault(
        "silence spliced in", "s", 0.5, 0.001, 60,
        lambda x, size, rate: faults.insert_silence(x, at=_middle(x), count=int(size * rate)),
    ),
    "automatic-gain": Fault(
        "an automatic gain follows the sound", "dB", 20, 1, 40,
        lambda x, size, rate: helpful_faults.automatic_gain(x, most_db=size, rate_hz=rate),
    ),
    "click": Fault("three clicks", "of full scale", 0.4, 1e-4, 1, _clicks),
    "clipped": Fault(
        "turned up until its peaks would pass the converter's ceiling by so much", "dB", 3.52, 0.1, 40,
        lambda x, size, rate: faults.clip(faults.normalise(x, peak_dbfs=size), ceiling_dbfs=0.0),
    ),
    "clipped-below-full-scale": Fault(
        "cut off at a level below full scale", "dBFS", -3, -40, -0.1,
        lambda x, size, rate: faults.clip(x, ceiling_dbfs=size),
    ),
    "dc-offset": Fault(
        "an offset of the converter", "of full scale", 0.0125, -0.5, 0.5,
        lambda x, size, rate: faults.offset(x, amount=size),
    ),
    "diffuse-tail": Fault(
        "a room's or a plate's tail is mixed in", "dB", -35, -80, 0,
        lambda x, size, rate: room_faults.diffuse_tail(x, level_db=size, rate_hz=rate),
    ),
    "dropout": Fault(
        "samples replaced by zeros", "samples", 37, 1, 100_000,
        lambda x, size, rate: faults.zero_out(x, at=_middle(x), count=int(size)),
    ),
    "edges-faded": Fault(
        "faded in and out", "s", 1.5, 0.001, 10,
        lambda x, size, rate: faults.fade_edges(x, count=int(size * rate)),
    ),
    "few-bits": Fault(
        "fewer bits than the file has", "bits", 8, 2, 23,
        lambda x, size, rate: faults.coarse(x, bits=int(size)),
    ),
    "foreign-noise": Fault(
        "white noise beside the sound", "dBFS", -65, -120, -20,
        lambda x, size, rate: room_faults.noise(x, level_dbfs=size),
    ),
    "gain-step": Fault(
        "a knob moved during the take", "dB", 1.4, -40, 40,
        lambda x, size, rate: faults.step_gain(x, at=_middle(x), gain_db=size),
    ),
    "gap-edited": Fault(
        "pauses cut short by an editor", "s left of each", 0.3, 0.01, 1,
        lambda x, size, rate: faults.strip_silence(x, below_dbfs=-80.0, kept=int(size * rate)),
    ),
    "hum": Fault("mains hum and its family", "dBFS", -60, -140, -10, _hum),
    "idle-mute": Fault(
        "pauses switched off", "", 0, 0, 0, lambda x, _, rate: helpful_faults.idle_mute(x, rate_hz=rate)
    ),
    "level-drift": Fault(
        "level creeps from first to last sample", "dB", 0.6, -20, 20,
        lambda x, size, rate: faults.drift_gain(x, total_db=size),
    ),
    "lossy-coded": Fault(
        "coded with loss", "", 0, 0, 0, lambda x, _, rate: helpful_faults.lossy_code(x, rate_hz=rate)
    ),
    "low-level": Fault(
        "recorded far too low, with the converter's noise at -110 dBFS", "dB", -50, -80, -1, _low,
    ),
    "misplaced-bits": Fault(
        "24 bits in the low part of 32", "", 0, 0, 0,
        lambda x, _, rate: faults.misplace_bits(x), needs_float=True,
    ),
    "music": Fault(
        "music beside the sound", "dBFS", -65, -120, -20,
        lambda x, size, rate: room_faults.music(x, level_dbfs=size, rate_hz=rate),
    ),
    "noise-suppressor": Fault(
        "a noise suppressor", "", 0, 0, 0, lambda x, _, rate: helpful_faults.suppress_noise(x, rate_hz=rate)
    ),
    "non-finite": Fault(
        "a sample that is no number", "", 0, 0, 0,
        lambda x, _, rate: faults.spoil(x, at=_middle(x), value=float("nan")), needs_float=True,
    ),
    "normalised": Fault(
        "turned up to one peak", "dBFS", -0.1, -20, 0,
        lambda x, size, rate: faults.normalise(x, peak_dbfs=size),
    ),
    "path-ahead": Fault(
        "a copy is mixed in ahead of the sound", "dB", -12, -60, 0,
        lambda x, size, rate, time_s=4.1e-3: faults.second_path(x, delay=-round(time_s * rate), gain_db=size),
        time_ms=(0.1, 60),
    ),
    "polarity-inverted": Fault("polarity turned round", "", 0, 0, 0, lambda x, _, rate: -x),
    "rate-converted": Fault(
        "converted to another sampling rate", "", 0, 0, 0,
        lambda x, _, rate: faults.rate_convert(x),
    ),
    "rate-converted-line": Fault(
        "converted to another rate and back by straight lines", "", 0, 0, 0,
        lambda x, _, rate: faults.convert_roughly(x, reach=1),
    ),
    "rate-converted-short": Fault(
        "converted to another rate and back by short filters", "", 0, 0, 0,
        lambda x, _, rate: faults.convert_roughly(x, reach=8),
    ),
    "rate-converted-twice": Fault(
        "converted to another sampling rate and back", "", 0, 0, 0,
        lambda x, _, rate: faults.convert_and_back(x),
    ),
    "reordered": Fault("two stretches exchanged", "", 0, 0, 0, _swapped),
    "ring-tone": Fault(
        "a telephone rings for a while", "dBFS", -45, -120, -10,
        lambda x, size, rate: room_faults.ring_tone(x, level_dbfs=size, rate_hz=rate),
    ),
    "silent": Fault("nothing but zeros", "", 0, 0, 0, lambda x, _, rate: np.zeros_like(x)),
    "spur": Fault(
        "a steady foreign tone of 1 kHz", "dBFS", -65, -140, -10,
        lambda x, size, rate: faults.add_tone(x, frequency_hz=1000.0, level_dbfs=size, rate_hz=rate),
    ),
    "start-missing": Fault(
        "recording started late", "s", 1.0, 0.01, 600,
        lambda x, size, rate: faults.cut_start(x, count=int(size * rate)),
    ),
    "swinging-noise": Fault(
        "noise that comes and goes", "dBFS", -65, -120, -20,
        lambda x, size, rate: room_faults.swinging_noise(x, level_dbfs=size, rate_hz=rate),
    ),
    "timing-jump": Fault(
        "samples lost", "samples", 96, 1, 100_000,
        lambda x, size, rate: faults.lose(x, at=_middle(x), count=int(size)),
    ),
    "timing-repeat": Fault(
        "samples played twice", "samples", 256, 1, 100_000,
        lambda x, size, rate: faults.repeat(x, at=_middle(x), count=int(size)),
    ),
    "truncated": Fault(
        "the end is missing", "of the length", 1 / 3, 0.01, 0.99,
        lambda x, size, rate: faults.cut_end(x, count=int(size * x.shape[0])),
    ),
    "two-paths": Fault(
        "a copy is mixed in behind the sound", "dB", -12, -60, 0,
        lambda x, size, rate, time_s=4.1e-3: faults.second_path(x, delay=round(time_s * rate), gain_db=size),
        time_ms=(0.1, 60),
    ),
    "two-takes": Fault(
        "the take twice in one file", "s between", 1, 0, 60,
        lambda x, size, rate: faults.two_takes(x, gap=int(size * rate)),
    ),
    "wow": Fault(
        "a wandering clock", "ppm", 60, 1, 2000,
        lambda x, size, rate: faults.wow(x, depth_ppm=size, frequency_hz=0.7, rate_hz=rate),
    ),
}  # fmt: skip
