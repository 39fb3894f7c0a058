"""What can be wrong with a pair of captures: faults of a catalogue in three sizes, and files that are mixed up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from charprobe.files.source import MemoryCapture
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig.fault_catalogue import apply_fault, fault_called, fault_names
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.stimulus.timetable import Stimulus

Array = NDArray[np.float64]

RATE_HZ = 48_000
BYPASS = "plain-wire"
SIZES = {  # mild and severe, beside the catalogue's typical one
    "added-silence": (0.05, 5.0),
    "automatic-gain": (6.0, 40.0),
    "click": (0.01, 1.0),
    "clipped": (1.0, 12.0),
    "clipped-below-full-scale": (-1.0, -12.0),
    "dc-offset": (0.002, 0.1),
    "dropout": (3.0, 4800.0),
    "edges-faded": (1.1, 4.0),
    "few-bits": (16.0, 4.0),
    "gain-step": (0.3, 6.0),
    "gap-edited": (0.45, 0.1),
    "hum": (-90.0, -30.0),
    "level-drift": (0.2, 3.0),
    "low-level": (-40.0, -70.0),
    "normalised": (-3.0, -1.0),
    "spur": (-95.0, -30.0),
    "start-missing": (0.95, 5.0),
    "timing-jump": (1.0, 9600.0),
    "timing-repeat": (1.0, 4800.0),
    "truncated": (0.04, 0.9),
    "two-paths": (-40.0, -3.0),
    "two-takes": (0.0, 10.0),
    "wow": (3.0, 1000.0),
}
# what a stage may itself do: in one capture alone there is no telling it from the stage
OF_BOTH_ONLY = ("automatic-gain", "noise-suppressor", "low-level")


@dataclass(frozen=True)
class Pair:
    """Captures of a setting and of its bypass, as they were handed over."""

    wet: MemoryCapture
    dry: MemoryCapture
    channel: int = 1


@dataclass(frozen=True)
class Case:
    """One thing that is wrong: its name, its size (None where it has none), and whether in the bypass too."""

    name: str
    size: float | None
    both: bool

    @property
    def size_text(self) -> str:
        return "–" if self.size is None else f"{self.size:.3g} {fault_called(self.name).unit}"


def cases() -> list[Case]:
    """Every fault of the catalogue in every size, in the setting's capture alone and in both; every mix-up."""
    found = []
    for name in fault_names():
        fault = fault_called(name)
        sizes: tuple[float | None, ...] = (None,)
        if fault.unit:
            mild, severe = SIZES[name]
            sizes = (mild, fault.typical, severe)
        for size in sizes:
            found.append(Case(name, size, True))
            if name not in OF_BOTH_ONLY:
                found.append(Case(name, size, False))
    return found + [Case(name, None, False) for name in MIX_UPS]


def stimulus_of(recipe: str, *, take: int = 1) -> Stimulus:
    return lay_out(load_recipe(recipe), rate_hz=RATE_HZ, take=take)


@lru_cache(maxsize=16)
def recorded(device: str, recipe: str, seed: int, take: int = 1) -> Array:
    """A clean capture of a device, shape (n, 1); do not write into it."""
    rng = np.random.default_rng(seed)
    out = make_stage(device).process(render(stimulus_of(recipe, take=take)), rate_hz=RATE_HZ, rng=rng).samples
    rig = Rig(delay_samples=37.4, noise_dbfs=-110.0, ac_corner_hz=2.0, drift_ppm=23.0, lead_s=0.3, tail_s=0.3)
    return rig.record(out, rate_hz=RATE_HZ, rng=rng)


def capture(samples: Array, name: str, rate_hz: int = RATE_HZ) -> MemoryCapture:
    return MemoryCapture(samples, rate_hz=rate_hz, name=f"{name}.wav")


def pair_of(case: Case, device: str, recipe: str, seed: int) -> Pair | None:
    """The captures of a case; None where the fault leaves the setting's capture as it was."""
    wet, dry = recorded(device, recipe, 2 * seed), recorded(BYPASS, recipe, 2 * seed + 1)
    if case.name in MIX_UPS:
        return MIX_UPS[case.name](wet, dry, device, recipe)
    if case.name == "clipped":  # both were taken with the gain that makes the setting's capture clip
        dry = dry * (10 ** (case.size / 20) / np.abs(wet).max())
    faulty = apply_fault(case.name, wet, rate_hz=RATE_HZ, size=case.size)
    if faulty.shape == wet.shape and np.array_equal(faulty, wet):
        return None
    other = dry
    if case.both:
        clip = case.name == "clipped"
        other = np.clip(dry, -1, 1) if clip else apply_fault(case.name, dry, rate_hz=RATE_HZ, size=case.size)
    return Pair(capture(faulty, device), capture(other, BYPASS))


def _noise_like(samples: Array) -> Array:
    return 10 ** (-110 / 20) / np.sqrt(2) * np.random.default_rng(7).standard_normal(samples.shape)


def _stimulus_itself(recipe: str) -> MemoryCapture:
    return capture(render(stimulus_of(recipe))[:, None], "stimulus")


def _other_recipe(wet: Array, dry: Array, device: str, recipe: str) -> Pair:
    other = recorded(device, "link" if recipe == "quick" else "quick", 2)
    return Pair(capture(other, device), capture(dry, BYPASS))


MIX_UPS: dict[str, Callable[[Array, Array, str, str], Pair]] = {
    "channel-dead": lambda wet, dry, device, _: Pair(
        capture(np.hstack([wet, 1e-3 * _noise_like(wet)]), device), capture(dry, BYPASS), channel=2
    ),
    "dual-mono": lambda wet, dry, device, _: Pair(
        capture(np.hstack([wet, wet]), device), capture(dry, BYPASS), channel=2
    ),
    "equals-stimulus": lambda _, dry, device, recipe: Pair(_stimulus_itself(recipe), capture(dry, BYPASS)),
    "equals-other-capture": lambda wet, _, device, __: Pair(capture(wet, device), capture(wet, "copy")),
    "swapped-roles": lambda wet, _, device, recipe: Pair(_stimulus_itself(recipe), capture(wet, device)),
    "rate-mislabelled": lambda wet, dry, device, _: Pair(capture(wet, device, 44_100), capture(dry, BYPASS)),
    "wrong-stimulus": _other_recipe,
    "wrong-take": lambda _, dry, device, recipe: Pair(
        capture(recorded(device, recipe, 4, take=7), device), capture(dry, BYPASS)
    ),
    "stimulus-not-found": lambda wet, dry, device, _: Pair(
        capture(_noise_like(wet), device), capture(dry, BYPASS)
    ),
}  # fmt: skip
