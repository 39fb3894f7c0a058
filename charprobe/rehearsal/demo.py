"""The whole job on a simulated device: stimulus, captures, profiles, comparison, page.

This process judges the bypass, loads what draws and measures the first setting as another records three.
Then it listens, and `JOBS` others, forked from it, record, measure and draw (`demo_bench`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from importlib import import_module
from itertools import chain, repeat
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from charprobe.comparing.compare import compare_profiles
from charprobe.comparing.comparison import Comparison
from charprobe.files.output import check_space, prepare_folder, write_text
from charprobe.files.sound.sound_file import write_wav
from charprobe.files.unfinished import may_start_over
from charprobe.profile.profile import Profile
from charprobe.publishing.report.truth_row import TruthRow
from charprobe.rehearsal.demo_bench import PLAYED, RATE_HZ, TAKES, Bench, figures, laid_out
from charprobe.rehearsal.selftest import true_rows
from charprobe.session.side_by_side import workers
from charprobe.simulation.demo_device import REPEATED, SETTINGS, STORY, TITLE
from charprobe.stimulus.kinds.material import generate
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.write import write_stimulus

if TYPE_CHECKING:  # what draws is loaded while others are at work
    from charprobe.publishing.report.inline_svg import InPage

SEED = 7
JOBS = 2
EARLY = 1, 2, 3  # takes that are recorded while the bypass is judged, and with the first one measured, once
STEPS = len(TAKES) + 4  # captures with their profiles; stimulus, listening pair, comparison, page
SPEECH_S = 10.0
PROFILE_BYTES, PAGE_BYTES = 1_000_000, 20_000_000


@dataclass(frozen=True)
class Demo:
    """What the demo made: profiles in the order of `SETTINGS`, their truth, the comparison, and the page."""

    profiles: tuple[Profile, ...]
    truth: tuple[TruthRow, ...]
    comparison: Comparison
    page: Path

    def text(self) -> str:
        """Several lines for a terminal: what was found, how true it is, where to look."""
        numbers = [row for row in self.truth if row.error is not None]
        near = sum(row.verdict == "good" for row in numbers)
        return "\n".join(
            [
                "What the captures say:",
                *(f"  {sentence}" for sentence in self.comparison.sentences),
                f"{near} of {len(numbers)} numbers lie within their goal of the simulated device's truth; "
                "the page shows truth beside estimate.",
                f"Open {self.page} in a browser; hear {self.page.parent / 'listening'} at equal loudness.",
            ]
        )


def run_demo(folder: Path, *, recipe: Recipe, force: bool, progress: Callable[[str], None]) -> Demo:
    """Do the whole job into a folder, made if its parent exists.

    Files of an earlier demo are replaced with `force`, those of one that was killed always; else, or if the
    folder cannot be written, `OutputError`. `progress` is called `STEPS` times with what was just done.
    """
    prepare_folder(folder)
    length = laid_out(recipe).length
    check_space(folder, needed_bytes=PAGE_BYTES + (len(TAKES) + 1) * (PROFILE_BYTES + 3 * length))
    with may_start_over(folder, force=force) as replaced:
        return _run(Bench(folder, recipe, replaced), progress)


def _run(bench: Bench, progress: Callable[[str], None]) -> Demo:
    folder, force = bench.folder, bench.force
    for place in (folder / "captures", folder / "profiles"):
        prepare_folder(place)
    write_stimulus(bench.recipe, folder / PLAYED, rate_hz=RATE_HZ, force=force)
    progress("stimulus")
    bench.record(0)
    with workers(1) as other:
        early = [other.submit(bench.record, number) for number in EARLY]
        bench.bypass()
        import_module("charprobe.publishing.report.page")
        first = bench.measure(1, {1: early[0].result()})
        known = dict(zip(EARLY, (future.result() for future in early), strict=True))
    progress("bypass")
    profiles: list[Profile] = []
    rows: list[TruthRow] = []
    drawn: dict[str, Future[tuple[InPage, ...]]] = {}
    with workers(JOBS) as others:
        found = chain([first], others.map(bench.measure, range(2, len(TAKES)), repeat(known)))
        _listening_pair(folder, force)
        progress("listening pair")
        for setting, (profile, truth) in zip(TAKES[1:], found, strict=True):
            progress(setting.name)
            profiles.append(profile)
            own = [one for one in profiles if one.setting == setting.name]
            if len(own) == 1:
                rows += true_rows(setting, profile, truth)
            if len(own) == TAKES.count(setting):
                drawn[setting.name] = others.submit(figures, own, SETTINGS.index(setting))
        comparison = compare_profiles(profiles)
        comparison.save(folder / "comparison", force=force)
        progress("comparison")
        page = _page(bench, profiles, rows, comparison, drawn)
        progress("page")
    return Demo(tuple(profiles[: len(SETTINGS)]), tuple(rows), comparison, page)


def _listening_pair(folder: Path, force: bool) -> None:
    """A dry take of made-up speech, the same through a setting, and the two at equal loudness."""
    from charprobe.listening.ab import make_pair

    rng = np.random.default_rng(SEED)
    speech = generate("speech", seconds=SPEECH_S, rate_hz=RATE_HZ, rng=rng)
    takes = {"dry": speech, REPEATED: TAKES[-1].process(speech, rate_hz=RATE_HZ, rng=rng).samples}
    prepare_folder(folder / "takes")
    for name, samples in takes.items():
        write_wav(folder / "takes" / f"{name}.wav", samples, rate_hz=RATE_HZ, subtype="float32", force=force)
    dry, processed = (folder / "takes" / f"{name}.wav" for name in takes)
    make_pair(dry, processed, folder / "listening", roles_as_named=True, force=force)


def _page(
    bench: Bench,
    profiles: Sequence[Profile],
    rows: Sequence[TruthRow],
    comparison: Comparison,
    drawn: Mapping[str, Future[tuple[InPage, ...]]],
) -> Path:
    # what plays is loaded by now
    from charprobe.publishing.listen.material import heard_in_captures
    from charprobe.publishing.report.card import shown_of
    from charprobe.publishing.report.page import render_page, tables_beside

    folder, force = bench.folder, bench.force
    captures = {one.capture.sha256: bench.capture(number) for number, one in enumerate(profiles, start=1)}
    listening = heard_in_captures([one.profile for one in shown_of(profiles)], captures)
    if listening is not None:
        listening.write(folder, force=force)
    page = render_page(
        profiles,
        title=TITLE,
        about=STORY,
        comparison=comparison,
        truth=rows,
        command=f"charprobe demo --out {folder.name}",
        listening=[listening] if listening is not None else [],
        sounds_beside=True,
        files=tables_beside("comparison", "setting against setting"),
        drawn=((name, figures.result()) for name, figures in drawn.items()),
    )
    write_text(folder / "page.html", page, force=force)
    return folder / "page.html"
