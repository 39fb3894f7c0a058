"""The demo's bench: processes that judge the bypass once each, and measure and draw what is recorded."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

from charprobe.files.sound.sound_file import open_capture
from charprobe.measuring.characterise import characterise_judged
from charprobe.measuring.health.judge import Judged, judge_capture
from charprobe.profile.profile import Profile
from charprobe.publishing.report.card import shown_of
from charprobe.publishing.report.inline_svg import InPage
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out
from charprobe.stimulus.timetable import Stimulus

Measured = tuple[Profile, tuple[InPage, ...]]  # a capture's profile and its figures


@cache
def laid_out(recipe: Recipe, rate_hz: int) -> Stimulus:
    """The first take of a recipe, the same object in each call."""
    return lay_out(recipe, rate_hz=rate_hz, take=1)


@cache
def judged_bypass(path: Path, recipe: Recipe, rate_hz: int) -> Judged:
    """Judge the bypass that all captures are measured against."""
    return judge_capture(open_capture(path), laid_out(recipe, rate_hz), 0)


def measured(
    path: Path,
    setting: str,
    alone: int | None,
    out: Path,
    dry: Path,
    recipe: Recipe,
    rate_hz: int,
    force: bool,
) -> Measured:
    """Measure a capture of a setting against the bypass `dry` and write its profile to `out`.

    Figures come with it where the capture stands `alone` for the setting of that number on the page.
    """
    judged = judge_capture(open_capture(path), laid_out(recipe, rate_hz), 0)
    profile = characterise_judged(judged, judged_bypass(dry, recipe, rate_hz), setting=setting)
    profile.save(out, force=force)
    if alone is None:
        return profile, ()
    (shown,) = shown_of([profile])
    return profile, replace(shown, number=alone).figures()
