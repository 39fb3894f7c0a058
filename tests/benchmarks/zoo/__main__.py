"""Measure every stage of the zoo and hold what is published against its truth.

``python -m tests.benchmarks.zoo [--recipe quick] [--stage NAME...] [--rate HZ] [--seed N] [--drawn N] [--jobs N] [--write SECTION]``
prints a table by group of quantities, the worst numbers and every contradiction; ``--write`` puts it under that heading
into ``docs/accuracy/zoo.md``. What the stages are is told by ``python -m tests.benchmarks.zoo.capture --list``.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
import time
import traceback
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import charprobe
from tests.benchmarks.written import write_section
from tests.benchmarks.zoo import tables
from tests.benchmarks.zoo.capture import Played, bypass, capture, options, play
from tests.benchmarks.zoo.catalogue import stages
from tests.benchmarks.zoo.contradictions import contradictions
from tests.benchmarks.zoo.drawn_strips import drawn_strips
from tests.benchmarks.zoo.headlines import misnamed
from tests.benchmarks.zoo.judge import judged
from tests.benchmarks.zoo.judged import Outcome
from tests.benchmarks.zoo.rig import Recorder
from tests.benchmarks.zoo.stage import Stage
from tests.benchmarks.zoo.truth import truth_of


def among(seed: int | None, drawn: int) -> dict[str, Stage]:
    """The stages to choose from: those of the zoo, or so many strips drawn from them."""
    own = stages(seed)
    return drawn_strips(own, seed or 0, drawn) if drawn else own


def outcome(
    name: str, *, seed: int | None, drawn: int, played: Played, recorder: Recorder, kept: Path
) -> Outcome:
    """Capture, measure and judge one stage; its profile and summary are left in `kept`."""
    stage = among(seed, drawn)[name]
    try:
        truth, file = truth_of(stage, played.stimulus), kept / f"{name}.json"
        if not file.exists():
            taken = capture(stage, played, recorder=recorder)
            clean = bypass(played, f"{name}.bypass", recorder=recorder)
            charprobe.measure(
                charprobe.open_capture(taken),
                charprobe.load_stimulus(played.wav),
                bypass=charprobe.open_capture(clean),
                setting=name,
            ).save(file)
            taken.unlink()
            clean.unlink()
        profile = charprobe.load_profile(file)
        file.with_suffix(".txt").write_text(charprobe.summarise(profile))
        plain = json.loads(profile.to_json())
        numbers = tuple(judged(plain, truth, noise_dbfs=recorder.noise_dbfs))
        warned = tuple(f"{item.severity} {item.code}" for item in profile.health if item.severity != "note")
        denied = (*contradictions(plain), *misnamed(profile, truth))
        return Outcome(name, numbers, denied, warned)
    except Exception:  # one stage that fails is a row of the table, not the end of it
        return Outcome(name, (), (), (), traceback.format_exc(limit=-3))


def main() -> None:
    parser = options(__doc__)
    parser.add_argument("--stage", nargs="*", help="only these; left out, all")
    parser.add_argument(
        "--drawn", type=int, default=0, help="strips drawn from the stages, so many, not they"
    )
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument(
        "--keep",
        type=Path,
        help="folder for profiles and summaries; those that are there are not measured again",
    )
    parser.add_argument("--write", metavar="SECTION", help="put the tables into docs/accuracy/zoo.md")
    chosen = parser.parse_args()
    names = chosen.stage or list(among(chosen.seed, chosen.drawn))
    recorder = Recorder(drift_ppm=chosen.drift, noise_dbfs=chosen.noise, draw=chosen.seed or 0)
    with tempfile.TemporaryDirectory() as name, ProcessPoolExecutor(chosen.jobs) as pool:
        folder = Path(name)
        kept = chosen.keep or folder / "profiles"
        kept.mkdir(parents=True, exist_ok=True)
        played = play(chosen.recipe, folder, rate_hz=chosen.rate)
        run = partial(
            outcome, seed=chosen.seed, drawn=chosen.drawn, played=played, recorder=recorder, kept=kept
        )
        outcomes, began = [], time.monotonic()
        for found in pool.map(run, names):
            outcomes.append(found)
            print(f"{time.monotonic() - began:6.0f} s  {tables.line(found)}", file=sys.stderr, flush=True)
    text = tables.text(outcomes)
    print(text)
    if chosen.write:
        command = f"python -m tests.benchmarks.zoo --recipe {chosen.recipe} --rate {chosen.rate}"
        command += "" if chosen.seed is None else f" --seed {chosen.seed}"
        command += f" --drawn {chosen.drawn}" if chosen.drawn else ""
        write_section("zoo", chosen.write, f"{command} --write", text)


if __name__ == "__main__":
    main()
