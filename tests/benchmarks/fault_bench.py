"""What is told of faulty captures: the right name, false alarms, and wrong numbers that nothing warns of.

Run ``python -m tests.benchmarks.fault_bench`` from the repository's top; ``--write`` puts the table into
``docs/accuracy.md``. Faults are injected by code that shares nothing with the detectors.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from charprobe.errors import CharprobeError
from charprobe.generators.render import lay_out, render
from charprobe.pipeline import characterise
from charprobe.quantity import Quantity
from charprobe.recipe import load_recipe
from charprobe.selftest import true_rows
from charprobe.source import MemoryCapture
from charprobe.stages.catalogue import make_stage
from charprobe.stages.fault_catalogue import apply_fault, fault_called, fault_names
from charprobe.stages.rig import Rig
from tests.benchmarks.written import write_section

RATE_HZ, RECIPE = 48_000, "quick"
DEVICES = ("smooth-gain-hard", "feedforward-rms-hard", "exact-colour")
WIDTHS = 3.0  # interval widths by which a number must lie outside its interval to count as wrong
# codes that name a fault rightly, where its own name is not the code
NAMED = {
    "added-silence": {"added-silence", "gap-edited", "timing-jump"},
    "edges-faded": {"start-missing", "truncated"},
    "noise-suppressor": {"automatic-gain", "idle-mute"},
    "timing-repeat": {"timing-jump", "dropout"},
    "timing-jump": {"timing-jump", "dropout"},
    "wow": {"clock-drift"},
    "few-bits": {"few-bits"},
}
# codes that speak of the stage, not of the capture
OF_THE_STAGE = {
    "unsettled", "output-saturated", "gap-too-short", "below-resolution", "never-compresses", "always-compresses",
    "expander", "upward-compression", "second-bend", "history-dependent",
}  # fmt: skip


@dataclass(frozen=True)
class Trial:
    """One capture: its fault (empty for a clean one), device, whether the bypass had it too, and what came of it."""

    fault: str
    device: str
    both: bool
    codes: frozenset[str]
    warned: frozenset[str]
    refused: bool
    crashed: str
    wrong: tuple[str, ...]

    @property
    def told(self) -> bool:
        """Whether the fault was named."""
        return self.refused or bool(self.codes & NAMED.get(self.fault, {self.fault}))

    @property
    def silent(self) -> tuple[str, ...]:
        """Numbers that are wrong and that nothing about the capture warns of."""
        return () if self.refused or self.warned - OF_THE_STAGE else self.wrong


def capture_of(device: str, seed: int, fault: str | None) -> MemoryCapture:
    stimulus = lay_out(load_recipe(RECIPE), rate_hz=RATE_HZ, take=1)
    rng = np.random.default_rng(seed)
    out = make_stage(device).process(render(stimulus), rate_hz=RATE_HZ, rng=rng).samples
    rig = Rig(
        delay_samples=37.4,
        noise_dbfs=-110.0,
        ac_corner_hz=2.0,
        drift_ppm=23.0,
        lead_s=0.3,
        tail_s=0.3,
    )
    samples = rig.record(out, rate_hz=RATE_HZ, rng=rng)
    if fault:
        samples = apply_fault(fault, samples, rate_hz=RATE_HZ)
    return MemoryCapture(samples, rate_hz=RATE_HZ, name=f"{device}.wav")


def try_capture(job: tuple[str, str, bool, int]) -> Trial:
    fault, device, both, seed = job
    stimulus = lay_out(load_recipe(RECIPE), rate_hz=RATE_HZ, take=1)
    wet = capture_of(device, 2 * seed, fault)
    dry = capture_of("plain-wire", 2 * seed + 1, fault if both else None)
    try:
        profile = characterise(wet, stimulus, channel=1, setting=device, bypass=dry)
    except CharprobeError:
        return Trial(fault, device, both, frozenset(), frozenset(), True, "", ())
    except Exception as error:
        return Trial(fault, device, both, frozenset(), frozenset(), False, repr(error), ())
    wrong = []
    for row in true_rows(make_stage(device), profile, stimulus):
        reading = row.reading
        if isinstance(reading, Quantity):
            outside = max(reading.low - row.truth, row.truth - reading.high)
            if (
                outside > WIDTHS * (reading.high - reading.low)
                and abs(reading.value - row.truth) > row.allowed
            ):
                wrong.append(row.quantity)
    codes = frozenset(item.code for item in profile.health)
    warned = frozenset(item.code for item in profile.health if item.severity != "note")
    return Trial(fault, device, both, codes, warned, False, "", tuple(wrong))


def fault_table(trials: list[Trial]) -> str:
    groups: dict[tuple[str, bool], list[Trial]] = defaultdict(list)
    for trial in trials:
        groups[trial.fault, trial.both].append(trial)
    lines = [
        "| fault | size | in | told by name | refused | told as | wrong numbers nothing warns of |",
        "|---|---|---|---|---|---|---|",
    ]
    for (name, both), items in groups.items():
        fault = fault_called(name)
        size = f"{fault.typical:.3g} {fault.unit}" if fault.unit else "–"
        codes = sorted(set().union(*(t.warned for t in items)) - OF_THE_STAGE)
        silent = sorted({name for t in items for name in t.silent})
        lines.append(
            f"| {name} | {size} | {'both' if both else 'setting'} | {sum(t.told for t in items)} of {len(items)} "
            f"| {sum(t.refused for t in items)} | {', '.join(codes) or '–'} | {', '.join(silent) or 'none'} |"
        )
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clean", type=int, default=66, help="clean captures")
    parser.add_argument("--write", action="store_true", help="put the tables into docs/accuracy.md")
    options = parser.parse_args()
    jobs = [(f, d, both, 1) for f in fault_names() for both in (True, False) for d in DEVICES]
    clean = [("", DEVICES[i % len(DEVICES)], False, 10 + i) for i in range(options.clean)]
    with ProcessPoolExecutor(max_workers=2) as pool:
        trials = list(pool.map(try_capture, jobs, chunksize=4))
        spotless = list(pool.map(try_capture, clean, chunksize=4))
    alarms = [t for t in spotless if t.refused or t.warned - OF_THE_STAGE]
    told = sum(t.told for t in trials)
    silent = [t for t in trials if t.silent]
    crashed = sorted({f"{t.fault}: {t.crashed}" for t in [*trials, *spotless] if t.crashed})
    text = "\n\n".join(
        [
            f"{len(fault_names())} faults of typical size, in the setting's capture alone and in the bypass too, on three devices "
            f"({', '.join(DEVICES)}), recipe `{RECIPE}`. Told by name, or refused: {told} of {len(trials)} captures. False alarms "
            f"on {len(spotless)} clean captures: {len(alarms)}. A number counts as wrong that lies outside its 95 % interval by "
            f"more than {WIDTHS:g} widths and misses its goal; captures with wrong numbers and no warning about the capture: "
            f"{len(silent)} of {len(trials)}. Ended by an error of the program: {'; '.join(crashed) or 'none'}.",
            fault_table(trials),
        ]
    )
    print(text)
    if options.write:
        path = Path(__file__).parents[2] / "docs" / "accuracy.md"
        write_section(path, "Faults", "python -m tests.benchmarks.fault_bench --write", text)


if __name__ == "__main__":
    main()
