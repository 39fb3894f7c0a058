"""What can be wrong with a pair of captures: faults in three sizes, pairs of faults, coded links, mixed-up files."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from charprobe.simulation.rig.fault_catalogue import fault_names
from tests.benchmarks.bench_faults import BENCH_FAULTS
from tests.benchmarks.fault_captures import BYPASS, CODERS, Pair, capture, put_in, recorded, sizes_of, unit_of
from tests.benchmarks.fault_mix_ups import MIX_UPS, SIZED_MIX_UPS

PLAYED_IN_16 = "played in 16 bits"
# what a stage may itself do: in one capture alone there is no telling it from the stage
OF_BOTH_ONLY = (
    *("automatic-gain", "noise-suppressor", "low-level"),
    *(name for name, fault in BENCH_FAULTS.items() if fault.path),
)
# faults that leave the whole take in place, drawn two at a time
PAIRED = (
    "hum", "spur", "music", "ring-tone", "foreign-noise", "swinging-noise", "two-paths", "path-ahead",
    "diffuse-tail", "level-drift", "gain-step", "automatic-gain", "wow", "timing-jump", "dropout", "click",
    "dc-offset", "clipped", "clipped-below-full-scale", "few-bits", "normalised", "polarity-inverted",
    "rate-converted-twice", "rate-converted-short", "lossy-coded", "truncated", "start-missing",
    *(name for name, fault in BENCH_FAULTS.items() if not fault.played),
)  # fmt: skip
# written by hand: what meets on one bench
MET = (
    ("wind", "gain-step"), ("treble-dropouts", "time-code"), ("azimuth-wanders", "flutter"),
    ("dynamic-filter", "hum"), ("snapped-to-grid", "denoised"), ("limiter-in-path", "false-bass"),
    ("stuttering-gain", "low-cut"), ("phase-rotator", "reversed-piece"), ("popcorn", "few-bits"),
)  # fmt: skip
# what the file suffers last, whatever happened to the sound before
IN_THE_FILE = (
    *("clipped", "few-bits", "rate-converted-twice", "rate-converted-short", "lossy-coded", "normalised"),
    *("timing-jump", "stale-buffer", "dropout", "start-missing", "truncated"),
)


@dataclass(frozen=True)
class Case:
    """What is wrong: faults with their sizes (None where there is none), and whether in the bypass too."""

    faults: tuple[tuple[str, float | None], ...]
    both: bool
    rank: int = 1  # 0 mild, 1 typical, 2 severe

    @property
    def name(self) -> str:
        return " + ".join(name for name, _ in self.faults)

    @property
    def size_text(self) -> str:
        sizes = [
            f"{size:.3g} {SIZED_MIX_UPS[name][0] if name in SIZED_MIX_UPS else unit_of(name)}"
            for name, size in self.faults
            if size is not None
        ]
        return " + ".join(sizes) or "–"


def cases() -> list[Case]:
    """Faults in three sizes, coded links; in the setting alone and in both; mix-ups."""
    found = []
    for name in (*fault_names(), *BENCH_FAULTS):
        sizes = sizes_of(name)
        for number, size in enumerate(sizes):
            rank = number if len(sizes) > 1 else 1
            found.append(Case(((name, size),), True, rank))
            if name not in OF_BOTH_ONLY:
                found.append(Case(((name, size),), False, rank))
    found += [Case(((name, None),), both) for name in CODERS for both in (True, False)]
    found.append(Case(((PLAYED_IN_16, None),), True))
    for name, (_, sizes, _) in SIZED_MIX_UPS.items():
        found += [Case(((name, size),), False, rank) for rank, size in enumerate(sizes)]
    found += [Case(tuple((name, sizes_of(name)[1]) for name in names), True) for names in MET]
    return found + [Case(((name, None),), False) for name in MIX_UPS]


def pairs(count: int, seed: int) -> list[Case]:
    """Pairs of faults drawn from `PAIRED`, of mild and typical sizes, in both captures."""
    rng = np.random.default_rng(seed)
    every = list(combinations(PAIRED, 2))
    found = []
    for at in rng.permutation(len(every))[:count]:
        named = sorted(every[at], key=lambda name: IN_THE_FILE.index(name) if name in IN_THE_FILE else -1)
        rank = int(rng.integers(2))
        sizes = [sizes_of(name) for name in named]
        parts = tuple(
            (name, each[rank] if len(each) > 1 else None) for name, each in zip(named, sizes, strict=True)
        )
        found.append(Case(parts, True, rank))
    return found


def pair_of(case: Case, device: str, recipe: str, seed: int) -> Pair | None:
    """The captures of a case; None where the fault leaves the setting's capture as it was."""
    wet, dry = recorded(device, recipe, 2 * seed), recorded(BYPASS, recipe, 2 * seed + 1)
    if case.name in MIX_UPS:
        return MIX_UPS[case.name](wet, dry, device, recipe)
    if case.name in SIZED_MIX_UPS:
        size = case.faults[0][1]
        assert size is not None
        return SIZED_MIX_UPS[case.name][2](wet, dry, device, recipe, size)
    if case.name in BENCH_FAULTS and BENCH_FAULTS[case.name].played:
        (name, size), *_ = case.faults
        assert size is not None
        driven = (
            recorded(each, recipe, 2 * seed + at, played_fault=(name, size))
            for at, each in enumerate((device, BYPASS))
        )
        return Pair(*(capture(samples, name) for samples, name in zip(driven, (device, BYPASS), strict=True)))
    if case.name == PLAYED_IN_16:
        rough = (
            recorded(name, recipe, 2 * seed + at, played_bits=16) for at, name in enumerate((device, BYPASS))
        )
        return Pair(*(capture(samples, name) for samples, name in zip(rough, (device, BYPASS), strict=True)))
    faulty, other = wet, dry
    for name, size in case.faults:
        if name == "clipped":  # both were taken with the gain that makes the setting's capture clip
            gain = 10 ** (size / 20) / np.abs(faulty).max()
            faulty, other = np.clip(gain * faulty, -1, 1), gain * other
            other = np.clip(other, -1, 1) if case.both else other
            continue
        faulty = put_in(name, faulty, size)
        other = put_in(name, other, size) if case.both else other
    if faulty.shape == wet.shape and np.array_equal(faulty, wet):
        return None
    return Pair(capture(faulty, device), capture(other, BYPASS))
