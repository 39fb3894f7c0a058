"""Two passes over every stage: the quick recipe, then what the designer asks for, both against the truth.

Run ``python -m tests.benchmarks.two_pass_bench [--stage NAME...] [--seed N] [--jobs 2] [--keep DIR] [--write]`` from the
repository's top. NAME is a reference stage or ``zoo:`` and one of the zoo. What is in `--keep` is not measured again: first
profiles by name, second ones by the hash of what was designed. ``--write`` makes ``docs/accuracy/two-pass.md``.

After the second pass nothing may lack a number because steps had not settled, a release had not finished or bursts started
below rest; a take lasts 6 min at most, unless the stage is slower than 5 s; what was foretold is what comes.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
import traceback
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import soundfile

import charprobe
from charprobe.profile.profile import Profile
from charprobe.publishing.report.truth_row import TruthRow
from charprobe.rehearsal.selftest import played_truth, true_rows
from charprobe.simulation.devices.catalogue import make_stage, stage_names
from charprobe.stimulus.design import design_stimulus
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.recipe import Recipe, load_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.stimulus.timetable import Stimulus
from charprobe.stimulus.write import write_stimulus
from charprobe.values.quantity import Quantity, Unmeasured
from tests.benchmarks.two_pass_table import LONGEST_S, Outcome, Told, text
from tests.benchmarks.zoo.catalogue import stages as zoo_stages
from tests.benchmarks.zoo.judge import judged
from tests.benchmarks.zoo.judged import Judged
from tests.benchmarks.zoo.rig import Recorder
from tests.benchmarks.zoo.truth import truth_of

RATE_HZ, NOISE_DBFS = 48_000, -105.0
SLOW_S, PAD_DB = 5.0, 12.0
STEREO, ZOO, RESTS = {"linked-pair"}, "zoo:", 4.0
PAGE = Path("docs/accuracy/two-pass.md")


def names(seed: int | None) -> list[str]:
    """Reference stages (without a seed), then those of the zoo."""
    own = [name for name in stage_names() if name not in STEREO] if seed is None else []
    return own + [f"{ZOO}{name}" for name in zoo_stages(seed)]


def measured(name: str, recipe: Recipe, file: Path, *, seed: int | None, pad_db: float) -> Profile:
    """Play a recipe through a stage and through a wire, pad, and measure; a profile that is there is read."""
    if file.is_file():
        return charprobe.load_profile(file)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        written = write_stimulus(recipe, folder / "s.wav", rate_hz=RATE_HZ, subtype="float32", force=True)
        played = soundfile.read(written.wav, always_2d=True)[0][:, 0]
        recorder = Recorder(noise_dbfs=NOISE_DBFS, draw=seed or 0)
        if name.startswith(ZOO):
            wet = zoo_stages(seed)[name.removeprefix(ZOO)].process(played, RATE_HZ).sound
        else:
            wet = make_stage(name).process(played, rate_hz=RATE_HZ, rng=np.random.default_rng(5)).samples
        for end, sound, number in (("dry", played, 1), ("wet", wet, 2)):
            taken = recorder.record(10 ** (-pad_db / 20) * sound, rate_hz=RATE_HZ, seed=number)
            soundfile.write(folder / f"{end}.wav", taken, RATE_HZ, subtype="PCM_24")
        profile = charprobe.measure(
            charprobe.open_capture(folder / "wet.wav"),
            charprobe.load_stimulus(written.wav),
            bypass=charprobe.open_capture(folder / "dry.wav"),
            setting=name,
        )
    profile.save(file, force=True)
    return profile


def against_truth(name: str, profile: Profile, stimulus: Stimulus, *, seed: int | None) -> tuple[Judged, ...]:
    """Hold a profile against closed forms and the stage's own gain."""
    if name.startswith(ZOO):
        truth = truth_of(zoo_stages(seed)[name.removeprefix(ZOO)], stimulus)
        return tuple(judged(json.loads(profile.to_json()), truth, noise_dbfs=NOISE_DBFS))
    warned = {item.code for item in profile.health if item.severity != "note"}
    stage, rested = make_stage(name), from_rest(stimulus.recipe)
    played = render(rested)
    gain_db = stage.process(played, rate_hz=RATE_HZ, rng=np.random.default_rng(0)).gain_db
    rows = true_rows(stage, profile, played_truth(stage, rested, played=played, gain_db=gain_db))
    return tuple(_as_judged(row, warned=bool(warned)) for row in rows)


def from_rest(recipe: Recipe) -> Stimulus:
    """Return the reference bursts alone, each from rest: what the published times are of."""
    bursts = [spec for spec in recipe.segments if isinstance(spec, Bursts) and spec.reference]
    rested = [replace(spec, lead_s=1.0, release_s=min(60.0, RESTS * spec.release_s)) for spec in bursts]
    return lay_out(replace(recipe, segments=tuple(rested)), rate_hz=RATE_HZ, take=0)


def _as_judged(row: TruthRow, *, warned: bool) -> Judged:
    """Put a row of the self-test into the form of the zoo."""
    reading, truth = row.reading, (row.truth - row.within, row.truth + row.within)
    group = row.quantity.partition(".")[0]
    if isinstance(reading, Quantity):
        number = ("number", reading.value, reading.low, reading.high)
        return Judged(row.stage, group, row.quantity, *number, truth, row.allowed, warned)
    bound = (np.nan, reading.at_least, reading.at_most)
    kind = "bound" if reading.bounded else "withheld"
    return Judged(row.stage, group, row.quantity, kind, *bound, truth, row.allowed, warned, reading.reason)


def two_passes(name: str, *, seed: int | None, kept: Path, longest_s: float) -> Outcome:
    """Measure a stage with the quick recipe, then with what is designed from that, and judge the second."""
    began, plain = time.process_time(), name.replace(":", ".")
    try:
        pad_db = 0.0
        first = measured(name, load_recipe("quick"), kept / f"{plain}.1.json", seed=seed, pad_db=pad_db)
        if any(
            item.code == "clipped" for item in first.health
        ):  # as anybody would, with the gain turned down
            pad_db = PAD_DB
            first = measured(
                name, load_recipe("quick"), kept / f"{plain}.1pad.json", seed=seed, pad_db=pad_db
            )
        design = design_stimulus(first, longest_s=longest_s)
        file = kept / f"{plain}.{design.recipe.hash[:8]}{'pad' if pad_db else ''}.json"
        (kept / f"{plain}.txt").write_text("\n".join((file.name, *design.reasons)))
        second = measured(name, design.recipe, file, seed=seed, pad_db=pad_db)
        told = tuple(
            Told(row.name, row.unit, _half(first, row.name), row.then, _half(second, row.name))
            for row in design.expected
        )
        last = second.quantities["release.t90"].reading if "release.t90" in second.quantities else None
        slow_s = last.value if isinstance(last, Quantity) else (last.at_least or 0.0) if last else 0.0
        stops = tuple(sorted({item.code for item in second.health if item.severity == "stop"}))
        lacking = tuple(
            (one, entry.reading.cause or "", entry.reading.reason)
            for one, entry in second.quantities.items()
            if isinstance(entry.reading, Unmeasured)
        )
        truth = against_truth(name, second, lay_out(design.recipe, rate_hz=RATE_HZ, take=0), seed=seed)
        if pad_db:  # levels on the axis of a padded capture are not those of the stage
            truth = tuple(one for one in truth if one.group in ("attack", "release"))
        return Outcome(
            name, numbers_of(first), numbers_of(second), design.duration_s, slow_s > SLOW_S, design.gains, lacking,
            stops, told, truth, time.process_time() - began,
        )  # fmt: skip
    except Exception:  # one stage that fails is a row of the table, not the end of it
        return Outcome(name, failed=traceback.format_exc(limit=-3))


def _half(profile: Profile, name: str) -> float | None:
    """Half the 95 % interval of a quantity, None where it is no number."""
    found = profile.measured(name)
    return None if found is None else (found.high - found.low) / 2


def numbers_of(profile: Profile) -> int:
    """How many of the numbers of static curve, attack and release are there."""
    groups = ("static", "attack", "release")
    return sum(
        profile.measured(name) is not None for name in profile.quantities if name.split(".")[0] in groups
    )


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--stage", nargs="*", help="only these; left out, all")
    parser.add_argument(
        "--seed", type=int, help="draw the parameters of the zoo's stages; no reference stages then"
    )
    parser.add_argument("--longest", type=float, default=LONGEST_S, help="what a take may cost, in s")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for the profiles of every stage")
    parser.add_argument("--write", action="store_true", help=f"write {PAGE}")
    chosen = parser.parse_args()
    asked = chosen.stage or names(chosen.seed)
    outcomes, began = [], time.monotonic()
    with tempfile.TemporaryDirectory() as folder, ProcessPoolExecutor(chosen.jobs) as pool:
        kept = chosen.keep or Path(folder)
        kept.mkdir(parents=True, exist_ok=True)
        run = partial(two_passes, seed=chosen.seed, kept=kept, longest_s=chosen.longest)
        for found in pool.map(run, asked):
            outcomes.append(found)
            print(f"{time.monotonic() - began:6.0f} s  {found.line}", flush=True)
    page = text(outcomes)
    print(page)
    if chosen.write:
        only = f" --stage {' '.join(chosen.stage)}" if chosen.stage else ""
        head = f"# Accuracy: two passes\n\nMade by `python -m tests.benchmarks.two_pass_bench --write{only}`"
        PAGE.write_text(f"{head}.\n\n{page}\n", encoding="utf-8")


if __name__ == "__main__":
    main()
