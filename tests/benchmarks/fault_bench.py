"""Faulty captures: told by their family's name, or every published number still holds its truth?

Run ``python -m tests.benchmarks.fault_bench`` from the repository's top: one screen. ``--write`` puts the whole
matrix into ``docs/accuracy/faults.md``; ``--clean N`` judges N clean captures through varied rigs as well. Faults are
injected by code that shares nothing with the detectors; truth is a stage's closed form or its own gain trace, and
the clean twin of the capture (same noise, no fault) for what has neither.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from charprobe.simulation.devices.catalogue import stage_names
from tests.benchmarks.clean_captures import clean_text, try_clean
from tests.benchmarks.fault_captures import RATE_HZ
from tests.benchmarks.fault_cases import OF_BOTH_ONLY, cases, pairs
from tests.benchmarks.fault_trials import OF_THE_STAGE, Trial, keep, kept_trials, try_case
from tests.benchmarks.written import write_section
from tests.benchmarks.zoo.catalogue import stages

DEVICES = ("smooth-gain-hard", "feedforward-rms-hard", "exact-colour")
RECIPES = ("quick", "standard")
RANKS = ("mild", "typical", "severe")


def fault_table(trials: Sequence[Trial]) -> str:
    groups: dict[tuple[str, str, bool], list[Trial]] = defaultdict(list)
    for trial in trials:
        groups[trial.case.name, trial.case.size_text, trial.case.both].append(trial)
    lines = [
        "| fault | size | in | told by name | refused | told as | numbers moved beyond their interval | of these in silence |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for (name, size, both), items in groups.items():
        judged = [t for t in items if not t.without_effect]
        codes = sorted(set().union(*(t.warned for t in judged)) - OF_THE_STAGE) if judged else []
        wrong = sorted({name for t in judged for name in t.wrong})
        silent = sorted({name for t in judged if t.outcome == "silent" for name in t.wrong})
        told = f"{sum(t.told for t in judged)} of {len(judged)}" if judged else "changes nothing"
        lines.append(
            f"| {name} | {size} | {'both' if both else 'setting'} | {told} | {sum(bool(t.refused) for t in judged)} "
            f"| {', '.join(codes) or '–'} | {', '.join(wrong) or 'none'} | {', '.join(silent) or 'none'} |"
        )
    return "\n".join(lines)


def screen(trials: Sequence[Trial]) -> str:
    """What matters, in one screen: counts by size, and every fault that is not wholly told or harmless."""
    judged = [t for t in trials if not t.without_effect]
    words = ("named", "holds", "other", "silent", "crash")
    lines = [f"{len(judged)} trials of {len({t.case.name for t in trials})} faults and pairs of faults"]
    lines += [f"{'':<10}{'by name':>9}{'all hold':>9}{'other':>9}{'silent':>9}{'crash':>9}"]
    for label, chosen in [
        *(
            (word, [t for t in judged if t.case.rank == i and len(t.case.faults) == 1])
            for i, word in enumerate(RANKS)
        ),
        ("pairs", [t for t in judged if len(t.case.faults) > 1]),
        ("all", judged),
    ]:
        lines.append(
            f"{label:<10}" + "".join(f"{sum(t.outcome == word for t in chosen):>9}" for word in words)
        )
    rows: dict[tuple[str, str], list[Trial]] = defaultdict(list)
    for trial in judged:
        if trial.outcome in ("other", "silent", "crash"):
            rows[trial.outcome, f"{trial.case.name} {trial.case.size_text}"].append(trial)
    for (outcome, name), items in sorted(rows.items(), reverse=True):
        numbers_ = sorted({number for t in items for number in t.wrong}) or sorted({t.crashed for t in items})
        told = sorted(set().union(*(t.warned for t in items)) - OF_THE_STAGE)
        text = f"{outcome} {len(items)}: {name} [{', '.join(told)}] {', '.join(numbers_)}"
        lines.append(text if len(text) < 160 else text[:157] + "...")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clean", type=int, default=0, help="clean captures to judge as well")
    parser.add_argument("--first", type=int, default=0, help="number of the first of them")
    parser.add_argument("--only", help="names of faults, with commas between; - for none")
    parser.add_argument("--pairs", type=int, default=0, help="pairs of faults to draw as well")
    parser.add_argument("--seed", type=int, default=22, help="which pairs, which draw")
    parser.add_argument("--numbers", action="store_true", help="measure also what is told by name")
    parser.add_argument("--recipe", choices=RECIPES, help="one recipe alone")
    parser.add_argument("--device", choices=(*stage_names(), *stages()), help="one device alone")
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    parser.add_argument("--draw", type=int, help="so many trials, drawn from all of them by the seed")
    parser.add_argument("--keep", type=Path, help="file that trials are added to, and not run again from")
    parser.add_argument("--write", action="store_true", help="put the matrix into docs/accuracy/faults.md")
    options = parser.parse_args()
    names = options.only.split(",") if options.only else None
    chosen = [c for c in cases() if names is None or c.name in names] + pairs(options.pairs, options.seed)
    recipes = [options.recipe] if options.recipe else RECIPES
    devices = [options.device] if options.device else DEVICES
    jobs = [(c, d, r, 1, options.numbers) for r in recipes for d in devices for c in chosen]
    if options.draw:
        order = np.random.default_rng(options.seed).permutation(len(jobs))
        jobs = [jobs[number] for number in order[: options.draw]]
    trials = kept_trials(options.keep) if options.keep else []
    done = {(trial.case, trial.device, trial.recipe) for trial in trials}
    jobs = [job for job in jobs if job[:3] not in done]
    with ProcessPoolExecutor(max_workers=options.jobs) as pool:
        for trial in pool.map(try_case, jobs, chunksize=1 if options.keep else 4):
            trials.append(trial)
            if options.keep:
                keep(options.keep, trial)
        clean = list(pool.map(try_clean, range(options.first, options.first + options.clean), chunksize=1))
    said = [screen(trials)] if trials else []
    said += [clean_text(clean)] if clean else []
    print("\n\n".join(said))
    if options.write:
        about = (
            f"In the setting's capture alone and in the bypass too, on {', '.join(devices)}, recipes {', '.join(recipes)}, "
            f"{RATE_HZ} Hz. {', '.join(OF_BOTH_ONLY)} count only where the bypass shows them: in one capture alone they are "
            "what a stage may do. A number counts as moved that lies more than four standard uncertainties from its truth "
            "while the clean twin held it."
        )
        text = "\n\n".join([about, f"```\n{screen(trials)}\n```", *said[1:], fault_table(trials)])
        write_section("faults", "Faults", "python -m tests.benchmarks.fault_bench --write", text)


if __name__ == "__main__":
    main()
