"""The demo's measuring bench: a process that judges the bypass once and measures what is recorded."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from charprobe.files.sound.sound_file import open_capture
from charprobe.measuring.characterise import characterise_judged
from charprobe.measuring.health.judge import Judged, judge_capture
from charprobe.profile.profile import Profile
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out
from charprobe.stimulus.timetable import Stimulus


@cache
def laid_out(recipe: Recipe, rate_hz: int) -> Stimulus:
    """The first take of a recipe, the same object in each call."""
    return lay_out(recipe, rate_hz=rate_hz, take=1)


@cache
def judged_bypass(path: Path, recipe: Recipe, rate_hz: int) -> Judged:
    """Judge the bypass that all captures are measured against."""
    return judge_capture(open_capture(path), laid_out(recipe, rate_hz), 0)


def measured(
    path: Path, setting: str, out: Path, dry: Path, recipe: Recipe, rate_hz: int, force: bool
) -> Profile:
    """Measure a capture of a setting against the bypass `dry` and write its profile to `out`."""
    judged = judge_capture(open_capture(path), laid_out(recipe, rate_hz), 0)
    profile = characterise_judged(judged, judged_bypass(dry, recipe, rate_hz), setting=setting)
    profile.save(out, force=force)
    return profile
