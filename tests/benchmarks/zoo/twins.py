"""Measure every stage of the zoo twice, through two recorders, and ask what is told to be different.

``python -m tests.benchmarks.zoo.twins [--recipe quick] [--stage NAME...] [--seed N] [--other N] [--second RECIPE] [--jobs N]
[--write SECTION]``
prints verdicts on quantities and curves of one stage against itself, warnings that one take alone brings, and summaries
that say other things; ``--write`` puts the table into ``docs/accuracy/verdicts.md``. Truth: it is one stage. With
``--second`` the other take is of another recipe; with ``--other`` the second take is of the stage with parameters of that seed, and verdicts are held against both truths.
"""

from __future__ import annotations

import json
import math
import re
import sys
import tempfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import charprobe
from charprobe.comparing.compare import compare_profiles
from charprobe.comparing.comparison import Difference
from charprobe.comparing.curves import MARGINS
from charprobe.profile.profile import Profile
from tests.benchmarks.written import write_section
from tests.benchmarks.zoo.capture import Played, bypass, capture, options, play
from tests.benchmarks.zoo.catalogue import stages
from tests.benchmarks.zoo.rig import Recorder
from tests.benchmarks.zoo.stage import Stage
from tests.benchmarks.zoo.true_quantities import TrueQuantities
from tests.benchmarks.zoo.truth import truth_of

VERDICTS = ("same", "different", "none", "both none", "cannot tell")


@dataclass(frozen=True)
class Pair:
    """What two takes of one stage say: verdicts by name, those that are wrong in words, and what only one says."""

    name: str
    verdicts: Counter[tuple[str, str]]
    wrong: tuple[str, ...]
    warned: tuple[str, ...]
    told: tuple[str, ...]


def take(stage: Stage, played: Played, recorder: Recorder) -> Profile:
    """Record a stage and its bypass, and measure them."""
    files = (
        capture(stage, played, recorder=recorder),
        bypass(played, f"{stage.name}.bypass", recorder=recorder),
    )
    profile = charprobe.measure(
        charprobe.open_capture(files[0]),
        charprobe.load_stimulus(played.wav),
        bypass=charprobe.open_capture(files[1]),
        setting=f"{stage.name} at {recorder.drift_ppm:+g} ppm",
    )
    for file in files:
        file.unlink()
    return profile


def said_of(profile: Profile) -> str:
    """The first lines of a summary without their numbers."""
    head = charprobe.summarise(profile).partition("HEALTH")[0].partition("\n")[2]
    return re.sub(r"[\d.−]+", "#", " ".join(head.split()))


def apart(name: str, sides: list[dict[str, tuple[float, float]]]) -> tuple[float, float] | None:
    """How far two truths lie apart at least and at most, in margins of a quantity; None where one is not known."""
    if not all(name in side for side in sides):
        return None
    margin, ends = MARGINS[name], [sides[0][name], sides[1][name]]
    if margin.scale == "ratio":
        if min(min(end) for end in ends) <= 0:
            return None
        ends = [(math.log(low), math.log(high)) for low, high in ends]
    size = math.log(margin.size) if margin.scale == "ratio" else margin.size
    (low, high), (other_low, other_high) = ends
    return max(0.0, other_low - high, low - other_high) / size, max(other_high - low, high - other_low) / size


def pair_of(
    name: str,
    *,
    seeds: tuple[int | None, int | None],
    played: tuple[Played, Played],
    recorders: tuple[Recorder, Recorder],
) -> Pair:
    """Take one stage twice, or it and one of other parameters, and set the takes against each other."""
    pair = [stages(seed)[name] for seed in seeds]
    one, other = map(take, pair, played, recorders)
    found = compare_profiles([one, other]).differences
    if seeds[0] != seeds[1]:
        truths = [
            TrueQuantities(json.loads(profile.to_json()), truth_of(stage, heard.stimulus)).ranges(
                noise_dbfs=recorder.noise_dbfs
            )
            for profile, stage, heard, recorder in zip((one, other), pair, played, recorders, strict=True)
        ]
        spans = {item.name: apart(item.name, truths) for item in found if item.name in MARGINS}
        judged = [(item, span) for item in found if (span := spans.get(item.name)) is not None]
        wrong = [
            f"{item.name} {item.verdict}: {item.text}; truth {span[0]:.2g} to {span[1]:.2g} margins"
            for item, span in judged
            if _wrong(item, *span)
        ]
        return Pair(name, Counter((item.name, item.verdict) for item, _ in judged), tuple(wrong), (), ())
    warned = [{item.code for item in profile.health if item.severity != "note"} for profile in (one, other)]
    heads = said_of(one), said_of(other)
    return Pair(
        name,
        Counter((item.name, item.verdict) for item in found),
        tuple(f"{item.name}: {item.text}" for item in found if item.verdict in ("different", "none")),
        tuple(sorted(warned[0] ^ warned[1])),
        heads if heads[0] != heads[1] else (),
    )


def _wrong(item: Difference, least: float, most: float) -> bool:
    """Whether a verdict is denied by how far, in margins, the truths lie apart."""
    return least > 1 if item.verdict == "same" else most < 1 and item.verdict in ("different", "none")


def text(pairs: list[Pair], *, others: bool) -> str:
    """Tables of all pairs."""
    total = sum((pair.verdicts for pair in pairs), Counter())
    names = sorted({name for name, _ in total})
    wrong, warned, told = ([p for p in pairs if getattr(p, what)] for what in ("wrong", "warned", "told"))
    begin = (
        f"{len(pairs)} pairs of stages of one law and other parameters. Pairs with a wrong verdict: {len(wrong)}."
        if others
        else f"{len(pairs)} stages taken twice. Told to be different from itself: {len(wrong)}; warned of in one take "
        f"alone: {len(warned)}; another summary: {len(told)}."
    )
    lines = [
        begin,
        "",
        "| quantity or curve | " + " | ".join(VERDICTS) + " |",
        "|---|" + "---|" * len(VERDICTS),
        *(f"| {name} | " + " | ".join(str(total[name, word]) for word in VERDICTS) + " |" for name in names),
        "",
        *(f"- {pair.name}: {'; '.join(pair.wrong)}" for pair in wrong),
        *(f"- {pair.name}, one take alone: {', '.join(pair.warned)}" for pair in warned),
        *(f"- {pair.name}: {pair.told[0]} / {pair.told[1]}" for pair in told),
    ]
    return "\n".join(lines)


def main() -> None:
    parser = options(__doc__)
    parser.add_argument("--stage", nargs="*", help="only these; left out, all of our own")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--write", metavar="SECTION", help="put the tables into docs/accuracy/verdicts.md")
    parser.add_argument(
        "--second", metavar="RECIPE", help="what is played for the second take, if not the same"
    )
    parser.add_argument("--other", type=int, help="parameters of the second stage, drawn by this seed")
    chosen = parser.parse_args()
    seeds = chosen.seed, chosen.seed if chosen.other is None else chosen.other
    names = chosen.stage or [name for name, stage in stages(chosen.seed).items() if not stage.joined]
    first = Recorder(drift_ppm=chosen.drift, noise_dbfs=chosen.noise)
    recorders = first, replace(first, late=77.21, drift_ppm=-25.0, draw=5)
    with tempfile.TemporaryDirectory() as folder, ProcessPoolExecutor(chosen.jobs) as pool:
        heard = play(chosen.recipe, Path(folder), rate_hz=chosen.rate)
        played = heard, play(chosen.second, Path(folder), rate_hz=chosen.rate) if chosen.second else heard
        run = partial(pair_of, seeds=seeds, played=played, recorders=recorders)
        pairs = []
        for pair in pool.map(run, names):
            pairs.append(pair)
            print(pair.name, *pair.wrong, *pair.warned, sep="; ", file=sys.stderr, flush=True)
    found = text(pairs, others=chosen.other is not None)
    print(found)
    if chosen.write:
        seed = "" if chosen.seed is None else f" --seed {chosen.seed}"
        seed += "" if chosen.second is None else f" --second {chosen.second}"
        seed += "" if chosen.other is None else f" --other {chosen.other}"
        command = f"python -m tests.benchmarks.zoo.twins --recipe {chosen.recipe}{seed} --write"
        write_section("verdicts", chosen.write, command, found)


if __name__ == "__main__":
    main()
