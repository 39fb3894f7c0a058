"""Two passes over every stage: the quick recipe, then what the designer asks for.

Run ``python -m tests.benchmarks.two_pass_bench [--stage NAME...] [--jobs 2] [--keep DIR]`` from the repository's top. After
the second pass nothing may lack a number because steps had not settled, a release had not finished or bursts
started below rest; a take lasts 6 min at most, unless the stage is slower than 5 s.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import soundfile

import charprobe
from charprobe.profile.profile import Profile
from charprobe.simulation.devices.catalogue import make_stage, stage_names
from charprobe.stimulus.design import Design, design_stimulus
from charprobe.stimulus.design_needs import causes_in
from charprobe.stimulus.recipe import Recipe, load_recipe
from charprobe.stimulus.write import write_stimulus
from tests.benchmarks.written import write_section
from tests.benchmarks.zoo.catalogue import stages as zoo_stages
from tests.benchmarks.zoo.rig import Recorder

RATE_HZ = 48_000
LONGEST_S, SLOW_S = 360.0, 5.0
CURABLE = ("short-steps", "short-gaps")
STEREO = {"linked-pair"}


@dataclass(frozen=True)
class Outcome:
    """What two passes made of a stage: numbers of each, length of the second, what is missing or spoiled."""

    stage: str
    first: int
    second: int
    length_s: float
    slow: bool
    missing: tuple[str, ...]
    failed: str = ""

    @property
    def good(self) -> bool:
        """Whether the second pass keeps what two passes promise."""
        return not self.failed and (self.slow or (not self.missing and self.length_s <= LONGEST_S))


def names() -> list[str]:
    """Reference stages, then those of the zoo."""
    return [
        *(name for name in stage_names() if name not in STEREO),
        *(f"zoo:{name}" for name in zoo_stages()),
    ]


def sound_of(name: str, played: np.ndarray) -> np.ndarray:
    """Send a stimulus through a stage."""
    if name.startswith("zoo:"):
        return zoo_stages()[name[4:]].process(played, RATE_HZ).sound
    return make_stage(name).process(played, rate_hz=RATE_HZ, rng=np.random.default_rng(5)).samples


def measured(name: str, recipe: Recipe, folder: Path) -> Profile:
    """Play a recipe through a stage and through a wire, and measure."""
    written = write_stimulus(recipe, folder / "s.wav", rate_hz=RATE_HZ, subtype="float32", force=True)
    played = soundfile.read(written.wav, always_2d=True)[0][:, 0]
    recorder = Recorder(noise_dbfs=-105.0)
    for file, sound, seed in (("dry", played, 1), ("wet", sound_of(name, played), 2)):
        taken = recorder.record(sound, rate_hz=RATE_HZ, seed=seed)
        soundfile.write(folder / f"{file}.wav", taken, RATE_HZ, subtype="PCM_24")
    return charprobe.measure(
        charprobe.open_capture(folder / "wet.wav"),
        charprobe.load_stimulus(written.wav),
        bypass=charprobe.open_capture(folder / "dry.wav"),
        setting=name,
    )


def two_passes(name: str, *, kept: Path | None) -> Outcome:
    """Measure a stage with the quick recipe, then with what is designed from that."""
    try:
        with tempfile.TemporaryDirectory() as folder:
            first = measured(name, load_recipe("quick"), Path(folder))
            design = design_stimulus(first, longest_s=LONGEST_S)
            second = measured(name, design.recipe, Path(folder))
    except Exception as error:  # one stage that fails is a row of the table, not the end of it
        return Outcome(name, 0, 0, 0.0, False, (), f"{type(error).__name__}: {error}")
    if kept is not None:
        kept.mkdir(parents=True, exist_ok=True)
        for number, profile in ((1, first), (2, second)):
            profile.save(kept / f"{name.replace(':', '.')}.{number}.json", force=True)
        (kept / f"{name.replace(':', '.')}.txt").write_text("\n".join(design.reasons))
    found = causes_in(second)
    stops = tuple(sorted({item.code for item in second.health if item.severity == "stop"}))
    missing = tuple(f"{quantity} ({cause})" for cause in CURABLE for quantity in found.get(cause, ()))
    return Outcome(
        name, numbers_of(first), numbers_of(second), design.duration_s, slow(design), (*missing, *stops)
    )


def numbers_of(profile: Profile) -> int:
    """How many of the numbers of static curve, attack and release are there."""
    groups = ("static", "attack", "release")
    return sum(
        profile.measured(name) is not None for name in profile.quantities if name.split(".")[0] in groups
    )


def slow(design: Design) -> bool:
    """Whether the stage takes longer than 5 s to release to 90 %."""
    return any(row.name == "release.t90" and row.value > SLOW_S for row in design.expected)


def table(outcomes: list[Outcome]) -> str:
    rows = [
        f"| {one.stage} | {one.first} | {one.second} | {one.length_s:.0f} s{' (slow)' if one.slow else ''} | "
        f"{one.failed or ', '.join(one.missing) or '–'} |"
        for one in outcomes
    ]
    good = sum(one.good for one in outcomes)
    head = "| stage | numbers after quick | after the second pass | its length | still without a number |\n|---|---|---|---|---|"
    return f"{good} of {len(outcomes)} stages are complete after two passes.\n\n{head}\n" + "\n".join(rows)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--stage", nargs="*", help="only these; left out, all")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for both profiles of every stage")
    parser.add_argument("--write", metavar="SECTION", help="put the table into docs/accuracy/static.md")
    chosen = parser.parse_args()
    outcomes, began = [], time.monotonic()
    with ProcessPoolExecutor(chosen.jobs) as pool:
        for found in pool.map(partial(two_passes, kept=chosen.keep), chosen.stage or names()):
            outcomes.append(found)
            print(f"{time.monotonic() - began:6.0f} s  {found}", flush=True)
    text = table(outcomes)
    print(text)
    if chosen.write:
        write_section("static", chosen.write, "python -m tests.benchmarks.two_pass_bench --write", text)


if __name__ == "__main__":
    main()
