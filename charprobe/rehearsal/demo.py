"""The whole job on a simulated device: stimulus, captures, profiles, comparison, page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from joblib import Parallel, delayed  # type: ignore[import-untyped]  # ships no types

from charprobe.comparing.compare import compare_profiles
from charprobe.comparing.comparison import Comparison
from charprobe.files.output import check_space, prepare_folder, safe_file_name
from charprobe.files.sound.sound_file import open_capture, write_wav
from charprobe.files.unfinished import may_start_over
from charprobe.measuring.characterise import characterise_judged
from charprobe.measuring.health.judge import Judged, judge_capture
from charprobe.profile.profile import Profile
from charprobe.rehearsal.selftest import TruthRow, true_rows
from charprobe.simulation.demo_device import BYPASS, REPEATED, SETTINGS, STORY, TITLE, DemoSetting
from charprobe.simulation.devices.stage import Stage
from charprobe.simulation.rig.rig import Rig
from charprobe.simulation.simulate import record_with_gain
from charprobe.stimulus.kinds.material import generate
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.stimulus.write import write_stimulus
from charprobe.values.arrays import Array

RATE_HZ = 48_000
JOBS = 2
SEED = 7
STEPS = (
    len(SETTINGS) + 1 + 5
)  # captures with their profiles; stimulus, bypass, listening pair, comparison, page
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
    length = lay_out(recipe, rate_hz=RATE_HZ, take=1).length
    check_space(folder, needed_bytes=PAGE_BYTES + (len(SETTINGS) + 3) * (PROFILE_BYTES + 3 * length))
    with may_start_over(folder, force=force) as replaced:
        return _run(folder, recipe, replaced, progress)


def _run(folder: Path, recipe: Recipe, force: bool, progress: Callable[[str], None]) -> Demo:
    for place in (folder / "captures", folder / "profiles"):
        prepare_folder(place)
    write_stimulus(recipe, folder / "stimulus.wav", rate_hz=RATE_HZ, take=1, subtype="pcm24", force=force)
    progress("stimulus")
    takes = [BYPASS, *SETTINGS, next(setting for setting in SETTINGS if setting.name == REPEATED)]
    paths = [
        folder / "captures" / f"{number:02d} {safe_file_name(setting.name)}.wav"
        for number, setting in enumerate(takes)
    ]
    first = [
        delayed(_capture)(paths[0], 0, BYPASS.build(), recipe, force),
        delayed(_listening_pair)(folder, force),
    ]
    _in_parallel(["bypass", "listening pair"], first, progress)
    numbered = list(enumerate(zip(takes, paths, strict=True)))[1:]
    calls = [
        delayed(_recorded)(folder, number, setting, path, paths[0], recipe, force)
        for number, (setting, path) in numbered
    ]
    done = _in_parallel([setting.name for _, (setting, _) in numbered], calls, progress)
    profiles = tuple(profile for profile, _ in done)
    truth = tuple(row for _, rows in done[: len(SETTINGS)] for row in rows)
    comparison = compare_profiles(profiles)
    comparison.save(folder / "comparison", force=force)
    progress("comparison")
    page = _page(folder, profiles, truth, comparison, force=force)
    progress("page")
    return Demo(profiles[: len(SETTINGS)], truth, comparison, page)


def _in_parallel(names: list[str], calls: list[object], progress: Callable[[str], None]) -> list[Any]:
    """Make calls in processes of their own; say the name of each when it and all before it are done."""
    results = []
    for name, result in zip(names, Parallel(n_jobs=JOBS, return_as="generator")(calls), strict=True):
        results.append(result)
        progress(name)
    return results


def _recorded(
    folder: Path, number: int, setting: DemoSetting, path: Path, dry: Path, recipe: Recipe, force: bool
) -> tuple[Profile, list[TruthRow]]:
    """Record a setting and measure it, so that one process records while another measures."""
    stage, stimulus = setting.build(), lay_out(recipe, rate_hz=RATE_HZ, take=1)
    gain_db = _capture(path, number, stage, recipe, force)
    judged = judge_capture(open_capture(path), stimulus, 0)
    profile = characterise_judged(judged, _judged(dry, recipe), setting=setting.name)
    profile.save(folder / "profiles" / f"{path.stem}.json", force=force)
    return profile, true_rows(stage, profile, stimulus, played=_played(recipe), gain_db=gain_db)


def _capture(path: Path, number: int, stage: Stage, recipe: Recipe, force: bool) -> Array:
    """Record a stage into a file and return the gain it had meanwhile."""
    taken = record_with_gain(stage, _played(recipe), rig=rig_of(number), rate_hz=RATE_HZ, seed=number)
    write_wav(path, taken.capture, rate_hz=RATE_HZ, subtype="pcm24", force=force)
    return taken.gain_db


@lru_cache(maxsize=1)
def _played(recipe: Recipe) -> Array:
    """The sound of the recipe, made once in each process; not to be changed."""
    return render(lay_out(recipe, rate_hz=RATE_HZ, take=1))


@lru_cache(maxsize=1)
def _judged(path: Path, recipe: Recipe) -> Judged:
    return judge_capture(open_capture(path), lay_out(recipe, rate_hz=RATE_HZ, take=1), 0)


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


def _page(
    folder: Path,
    profiles: tuple[Profile, ...],
    truth: tuple[TruthRow, ...],
    comparison: Comparison,
    *,
    force: bool,
) -> Path:
    # what draws and plays is loaded here, because the processes that measure need none of it
    from charprobe.publishing.listen.material import heard_in_captures  # noqa: PLC0415
    from charprobe.publishing.report.card import shown_of  # noqa: PLC0415
    from charprobe.publishing.report.page import render_page, tables_beside, write_page  # noqa: PLC0415

    path = folder / "page.html"
    captures = {open_capture(one).sha256(): one for one in (folder / "captures").glob("*.wav")}
    listening = heard_in_captures([one.profile for one in shown_of(profiles)], captures)
    if listening is not None:
        listening.write(folder, force=force)
    page = render_page(
        profiles,
        title=TITLE,
        about=STORY,
        comparison=comparison,
        truth=truth,
        command=f"charprobe demo --out {folder.name}",
        listening=[listening] if listening is not None else [],
        sounds_beside=True,
        files=tables_beside("comparison", "setting against setting"),
    )
    write_page(path, page, force=force)
    return path
