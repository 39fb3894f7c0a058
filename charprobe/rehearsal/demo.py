"""The whole job on a simulated device: stimulus, captures, profiles, comparison, page.

This process plays the device's part, judges the bypass, records and listens; `JOBS` others (`demo_bench`),
forked from it, measure and draw meanwhile what was recorded.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

import numpy as np

from charprobe.comparing.compare import compare_profiles
from charprobe.comparing.comparison import Comparison
from charprobe.files.output import check_space, prepare_folder, safe_file_name, write_text
from charprobe.files.sound.sound_file import write_wav
from charprobe.files.unfinished import may_start_over
from charprobe.profile.profile import Profile
from charprobe.publishing.report.card import shown_of
from charprobe.publishing.report.inline_svg import InPage
from charprobe.rehearsal.demo_bench import Measured, judged_bypass, laid_out, measured
from charprobe.rehearsal.selftest import TruthRow, played_truth, true_rows
from charprobe.session.side_by_side import workers
from charprobe.simulation.demo_device import BYPASS, REPEATED, SETTINGS, STORY, TITLE, DemoSetting
from charprobe.simulation.devices.stage import TrueValue
from charprobe.simulation.rig.rig import Rig
from charprobe.simulation.simulate import record_with_gain
from charprobe.stimulus.kinds.material import generate
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import render
from charprobe.stimulus.write import write_stimulus
from charprobe.values.arrays import Array

RATE_HZ = 48_000
SEED = 7
JOBS = 2  # nobody of three waits on two cores
STEPS = (
    len(SETTINGS) + 1 + 5
)  # captures with their profiles; stimulus, bypass, listening pair, comparison, page
SPEECH_S = 10.0
PROFILE_BYTES, PAGE_BYTES = 1_000_000, 20_000_000
Awaited = tuple[DemoSetting, Path, Mapping[str, TrueValue], Future[Measured]]


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


def rig_of(number: int) -> Rig:
    """The crew's recorder at one capture: started in step with playing, its clock never quite the same."""
    return Rig(
        delay_samples=1490.37,
        drift_ppm=11.8 + 0.03 * number,
        noise_dbfs=-108.0,
        ac_corner_hz=2.0,
        bits=24,
        lead_s=0.4,
    )


def run_demo(folder: Path, *, recipe: Recipe, force: bool, progress: Callable[[str], None]) -> Demo:
    """Do the whole job into a folder.

    Parameters
    ----------
    folder : Path
        Where everything is written; made if its parent exists.
    recipe : Recipe
        What is played.
    force : bool
        Whether files of an earlier demo may be replaced; those of one that was killed always are.
    progress : callable
        Called `STEPS` times with what was just done.

    Raises
    ------
    OutputError
        If a file exists and `force` is false, or the folder cannot be written.
    """
    prepare_folder(folder)
    length = laid_out(recipe, RATE_HZ).length
    check_space(folder, needed_bytes=PAGE_BYTES + (len(SETTINGS) + 3) * (PROFILE_BYTES + 3 * length))
    with may_start_over(folder, force=force) as replaced:
        return _run(folder, recipe, replaced, progress)


def _run(folder: Path, recipe: Recipe, force: bool, progress: Callable[[str], None]) -> Demo:
    for place in (folder / "captures", folder / "profiles"):
        prepare_folder(place)
    write_stimulus(recipe, folder / "stimulus.wav", rate_hz=RATE_HZ, take=1, subtype="pcm24", force=force)
    progress("stimulus")
    played = render(laid_out(recipe, RATE_HZ))
    dry, _ = _recorded(folder, 0, BYPASS, played, recipe, force)
    judged_bypass(dry, recipe, RATE_HZ)  # once: the bench is forked from what is known here
    progress("bypass")
    takes = [*SETTINGS, next(setting for setting in SETTINGS if setting.name == REPEATED)]
    results, waiting = _Results(progress), deque[Awaited]()
    with workers(JOBS) as bench:
        for number, setting in enumerate(takes, start=1):
            path, truth = _recorded(folder, number, setting, played, recipe, force)
            out = folder / "profiles" / f"{path.stem}.json"
            alone = None if setting.name == REPEATED else number - 1  # figures of the other show both takes
            future = bench.submit(measured, path, setting.name, alone, out, dry, recipe, RATE_HZ, force)
            waiting.append((setting, path, truth, future))
            while waiting and waiting[0][-1].done():
                results.take(*waiting.popleft())
        del played
        _listening_pair(folder, force)
        progress("listening pair")
        import_module("charprobe.publishing.report.page")  # loaded while the bench is at work
        for one in waiting:
            results.take(*one)
    comparison = compare_profiles(results.profiles)
    comparison.save(folder / "comparison", force=force)
    progress("comparison")
    page = _page(folder, results, comparison, force=force)
    progress("page")
    return Demo(tuple(results.profiles[: len(SETTINGS)]), tuple(results.rows), comparison, page)


class _Results:
    """What comes back from the bench, in the order it was asked for, beside the truth."""

    def __init__(self, progress: Callable[[str], None]) -> None:
        self._progress = progress
        self.profiles: list[Profile] = []
        self.rows: list[TruthRow] = []
        self.captures: dict[str, Path] = {}  # by their SHA-256
        self.drawn: list[tuple[str, tuple[InPage, ...]]] = []

    def take(
        self, setting: DemoSetting, path: Path, truth: Mapping[str, TrueValue], future: Future[Measured]
    ) -> None:
        """Take what was measured of a setting, once it is there."""
        profile, figures = future.result()
        self._progress(setting.name)
        number = len(self.profiles)
        self.profiles.append(profile)
        self.captures[profile.capture.sha256] = path
        if number < len(SETTINGS):
            self.rows += true_rows(setting.build(), profile, truth)
        if figures:
            self.drawn.append((setting.name, figures))


def _recorded(
    folder: Path, number: int, setting: DemoSetting, played: Array, recipe: Recipe, force: bool
) -> tuple[Path, dict[str, TrueValue]]:
    """Record a setting into a file, and return that and what is true of it."""
    path = folder / "captures" / f"{number:02d} {safe_file_name(setting.name)}.wav"
    stage = setting.build()
    taken = record_with_gain(stage, played, rig=rig_of(number), rate_hz=RATE_HZ, seed=number)
    write_wav(path, taken.capture, rate_hz=RATE_HZ, subtype="pcm24", force=force)
    return path, played_truth(stage, laid_out(recipe, RATE_HZ), played=played, gain_db=taken.gain_db)


def _listening_pair(folder: Path, force: bool) -> None:
    """A dry take of made-up speech, the same through a setting, and the two at equal loudness."""
    from charprobe.listening.ab import make_pair  # noqa: PLC0415  # loads what nothing else here needs

    rng = np.random.default_rng(SEED)
    speech = generate("speech", seconds=SPEECH_S, rate_hz=RATE_HZ, rng=rng)
    setting = next(setting for setting in SETTINGS if setting.name == REPEATED)
    takes = {"dry": speech, REPEATED: setting.build().process(speech, rate_hz=RATE_HZ, rng=rng).samples}
    prepare_folder(folder / "takes")
    for name, samples in takes.items():
        write_wav(folder / "takes" / f"{name}.wav", samples, rate_hz=RATE_HZ, subtype="float32", force=force)
    dry, processed = (folder / "takes" / f"{name}.wav" for name in takes)
    make_pair(dry, processed, folder / "listening", roles_as_named=True, force=force)


def _page(folder: Path, results: _Results, comparison: Comparison, *, force: bool) -> Path:
    # what plays is loaded by now
    from charprobe.publishing.listen.material import heard_in_captures  # noqa: PLC0415
    from charprobe.publishing.report.page import render_page, tables_beside  # noqa: PLC0415

    path = folder / "page.html"
    shown = [one.profile for one in shown_of(results.profiles)]
    listening = heard_in_captures(shown, results.captures)
    if listening is not None:
        listening.write(folder, force=force)
    page = render_page(
        results.profiles,
        title=TITLE,
        about=STORY,
        comparison=comparison,
        truth=results.rows,
        command=f"charprobe demo --out {folder.name}",
        listening=[listening] if listening is not None else [],
        sounds_beside=True,
        files=tables_beside("comparison", "setting against setting"),
        drawn=results.drawn,
    )
    write_text(path, page, force=force)
    return path
