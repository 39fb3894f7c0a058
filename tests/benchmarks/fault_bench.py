"""What is told of faulty captures: the right name, false alarms, and wrong numbers that nothing warns of.

Run ``python -m tests.benchmarks.fault_bench`` from the repository's top (half an hour on two cores);
``--write`` puts the tables into ``docs/accuracy.md``. Faults are injected by code that shares nothing with the
detectors.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from charprobe.files.source import MemoryCapture
from charprobe.measuring.characterise import characterise
from charprobe.measuring.health.judge import judge_capture
from charprobe.rehearsal.selftest import true_rows
from charprobe.simulation.devices.catalogue import make_stage, stage_names
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.errors import CharprobeError
from charprobe.values.quantity import Quantity
from tests.benchmarks.fault_cases import OF_BOTH_ONLY, Case, cases, pair_of, stimulus_of
from tests.benchmarks.written import write_section

DEVICES = ("smooth-gain-hard", "feedforward-rms-hard", "exact-colour")
RECIPES = ("quick", "standard")
CLEAN_RATES_HZ = (44_100, 48_000, 96_000)
WIDTHS = 3.0  # interval widths by which a number must lie outside its interval to count as wrong
# codes that name a fault rightly, where its own name is not the code
NAMED = {
    "added-silence": {"added-silence", "gap-edited", "timing-jump"},
    "clipped-below-full-scale": {"clipped-below-full-scale", "normalised"},  # "or cut off there?"
    "edges-faded": {"start-missing", "truncated"},
    "gain-step": {"gain-step", "level-drift"},  # between tones: "the level drifted or stepped"
    "noise-suppressor": {"automatic-gain", "idle-mute"},
    "rate-converted-twice": {"rate-converted"},
    "timing-repeat": {"timing-jump", "dropout"},
    "timing-jump": {"timing-jump", "dropout"},
    "wow": {"clock-drift"},
    "wrong-take": {"wrong-stimulus"},
}
# codes that speak of the stage, not of the capture
OF_THE_STAGE = {
    "unsettled", "output-saturated", "gap-too-short", "below-resolution", "never-compresses", "always-compresses",
    "expander", "upward-compression", "second-bend", "history-dependent",
}  # fmt: skip


@dataclass(frozen=True)
class Trial:
    """One pair of captures and what came of it; `codes` of any severity, `warned` without notes."""

    case: Case
    device: str
    recipe: str
    codes: frozenset[str] = frozenset()
    warned: frozenset[str] = frozenset()
    refused: str = ""
    crashed: str = ""
    wrong: tuple[str, ...] = ()
    without_effect: bool = False

    @property
    def told(self) -> bool:
        """Whether the fault was named, or the capture refused."""
        name = self.case.name
        found = self.warned if name == "wow" else self.codes
        return bool(self.refused) or bool(found & NAMED.get(name, {name}))

    @property
    def silent(self) -> tuple[str, ...]:
        """Numbers that are wrong and that nothing about the capture warns of."""
        return () if self.refused or self.warned - OF_THE_STAGE else self.wrong


def try_case(job: tuple[Case, str, str, int]) -> Trial:
    case, device, recipe, seed = job
    pair = pair_of(case, device, recipe, seed)
    if pair is None:
        return Trial(case, device, recipe, without_effect=True)
    stimulus = stimulus_of(recipe)
    try:
        profile = characterise(pair.wet, stimulus, channel=pair.channel, setting=device, bypass=pair.dry)
    except CharprobeError as error:
        return Trial(case, device, recipe, refused=str(error))
    except Exception as error:
        return Trial(case, device, recipe, crashed=repr(error))
    wrong = []
    truth = "plain-wire" if pair.wet.name == "stimulus.wav" else device
    for row in true_rows(make_stage(truth), profile, stimulus):
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
    return Trial(case, device, recipe, codes, warned, wrong=tuple(wrong))


def try_clean(number: int) -> tuple[str, frozenset[str], frozenset[str]]:
    """Judge a clean capture through any stage and any rig: a label, its stops, its warnings."""
    rng = np.random.default_rng(1000 + number)
    device = stage_names()[number % len(stage_names())]
    rate_hz = CLEAN_RATES_HZ[number % len(CLEAN_RATES_HZ)]
    stimulus = lay_out(load_recipe("standard" if number % 10 == 0 else "quick"), rate_hz=rate_hz, take=1)
    out = make_stage(device).process(render(stimulus), rate_hz=rate_hz, rng=rng).samples
    rig = Rig(
        gain_db=float(rng.uniform(-12, 0)) - max(0.0, 20 * np.log10(np.abs(out).max())),
        delay_samples=float(rng.uniform(0, 4000)),
        noise_dbfs=float(rng.uniform(-115, -90)),
        drift_ppm=float(rng.uniform(-80, 80)),
        ac_corner_hz=float(rng.uniform(0.5, 8)),
        bits=24,
        inverted=bool(rng.random() < 0.2),
        lead_s=float(rng.uniform(0, 1.5)),
        tail_s=float(rng.uniform(0, 1.5)),
    )
    samples = rig.record(out, rate_hz=rate_hz, rng=rng)
    capture = MemoryCapture(samples, rate_hz=rate_hz, name=f"{device}.wav")
    _, found = judge_capture(capture, stimulus, 0)
    by_severity = [frozenset(item.code for item in found if item.severity == s) for s in ("stop", "warn")]
    return f"{device}, {rate_hz} Hz", by_severity[0], by_severity[1]


def fault_table(trials: Sequence[Trial]) -> str:
    groups: dict[tuple[str, str, bool], list[Trial]] = defaultdict(list)
    for trial in trials:
        groups[trial.case.name, trial.case.size_text, trial.case.both].append(trial)
    lines = [
        "| fault | size | in | told by name | refused | told as | wrong numbers nothing warns of |",
        "|---|---|---|---|---|---|---|",
    ]
    for (name, size, both), items in groups.items():
        judged = [t for t in items if not t.without_effect]
        codes = sorted(set().union(*(t.warned for t in judged)) - OF_THE_STAGE) if judged else []
        silent = sorted({name for t in judged for name in t.silent})
        told = f"{sum(t.told for t in judged)} of {len(judged)}" if judged else "changes nothing"
        lines.append(
            f"| {name} | {size} | {'both' if both else 'setting'} | {told} "
            f"| {sum(bool(t.refused) for t in judged)} | {', '.join(codes) or '–'} | {', '.join(silent) or 'none'} |"
        )
    return "\n".join(lines)


def report(trials: Sequence[Trial], clean: Sequence[tuple[str, frozenset[str], frozenset[str]]]) -> str:
    judged = [t for t in trials if not t.without_effect]
    silent = [t for t in judged if t.silent]
    crashed = sorted({f"{t.case.name}: {t.crashed}" for t in judged if t.crashed})
    stops = [f"{label}: {', '.join(sorted(codes))}" for label, codes, _ in clean if codes]
    warns = [f"{label}: {', '.join(sorted(codes))}" for label, _, codes in clean if codes]
    return "\n\n".join(
        [
            f"{len({t.case.name for t in trials})} faults, those with a size in a mild, a typical and a severe one, in the "
            f"setting's capture alone and in the bypass too, on {len(DEVICES)} devices ({', '.join(DEVICES)}) and "
            f"{len(RECIPES)} recipes ({', '.join(RECIPES)}); {len(trials) - len(judged)} of {len(trials)} trials left the "
            f"capture as it was. {', '.join(OF_BOTH_ONLY)} count only where the bypass shows them: in one capture alone "
            "they are what a stage may do.",
            f"Told by name, or refused: {sum(t.told for t in judged)} of {len(judged)}. A number counts as wrong that lies "
            f"outside its 95 % interval by more than {WIDTHS:g} widths and misses its goal; captures with wrong numbers and no "
            f"warning about the capture: {len(silent)}. Ended by an error of the program: {'; '.join(crashed) or 'none'}.",
            f"{len(clean)} clean captures, of every stage, at {', '.join(map(str, CLEAN_RATES_HZ))} Hz, with noise from -115 to "
            f"-90 dBFS: {len(stops)} stopped ({'; '.join(stops) or 'none'}), {len(warns)} warned of "
            f"({'; '.join(warns) or 'none'}).",
            fault_table(trials),
        ]
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clean", type=int, default=200, help="clean captures")
    parser.add_argument("--only", help="names of faults, with commas between")
    parser.add_argument("--recipe", choices=RECIPES, help="one recipe alone")
    parser.add_argument("--write", action="store_true", help="put the tables into docs/accuracy.md")
    options = parser.parse_args()
    chosen = [c for c in cases() if not options.only or c.name in options.only.split(",")]
    recipes = [options.recipe] if options.recipe else RECIPES
    jobs = [(c, d, r, 1) for r in recipes for d in DEVICES for c in chosen]
    with ProcessPoolExecutor(max_workers=2) as pool:
        trials = list(pool.map(try_case, jobs, chunksize=4))
        clean = list(pool.map(try_clean, range(options.clean), chunksize=4))
    text = report(trials, clean)
    print(text)
    if options.write:
        path = Path(__file__).parents[2] / "docs" / "accuracy.md"
        write_section(path, "Faults", "python -m tests.benchmarks.fault_bench --write", text)


if __name__ == "__main__":
    main()
