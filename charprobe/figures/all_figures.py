"""Every figure that a profile, or a set of profiles, has the curves for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from charprobe import output
from charprobe.figures.drawing import Drawing, save_drawing
from charprobe.figures.gain_trace import draw_gain_trace, draw_gain_trace_log
from charprobe.figures.harmonics import draw_harmonics
from charprobe.figures.memory import draw_memory, has_holds
from charprobe.figures.noise import draw_noise
from charprobe.figures.overlay import draw_static_overlay, draw_timing_overlay, has_reduction
from charprobe.figures.response import draw_response
from charprobe.figures.static import draw_static
from charprobe.figures.style import LOOKS, Look
from charprobe.figures.train import draw_train
from charprobe.figures.transfer import draw_transfer
from charprobe.profile import Profile

DRAW: tuple[tuple[str, Callable[[Profile, Look], Drawing]], ...] = (
    ("static", draw_static),
    ("gain_trace", draw_gain_trace),
    ("gain_trace", draw_gain_trace_log),
    ("timing", draw_memory),
    ("burst_train_trace", draw_train),
    ("harmonics", draw_harmonics),
    ("transfer", draw_transfer),
    ("response", draw_response),
    ("noise_spectrum", draw_noise),
)
"""Curve that a figure needs, and the function that draws it."""


def profile_drawings(profile: Profile, look: Look) -> tuple[Drawing, ...]:
    """Draw what the curves of a profile allow; a curve without rows is passed over."""
    return tuple(draw(profile, look) for curve, draw in DRAW if _has_rows(profile, curve))


def set_drawings(profiles: Sequence[Profile], names: Sequence[str], look: Look) -> tuple[Drawing, ...]:
    """Draw the overlays of a set of profiles, for the curves that at least two of them have."""
    drawings = []
    if sum(_has_rows(profile, "static") for profile in profiles) > 1:
        drawings.append(draw_static_overlay(profiles, names, look))
    if sum(_has_rows(profile, "gain_trace") and has_reduction(profile) for profile in profiles) > 1:
        drawings.append(draw_timing_overlay(profiles, names, look))
    return tuple(drawings)


def draw_profile(
    profile: Profile, folder: Path, *, force: bool, looks: Sequence[str] = ("article", "video")
) -> tuple[Path, ...]:
    """Write every figure of a profile to a folder: SVG, PNG, PDF and words, in each of the `looks`.

    Names are the setting's, the channel's, the figure's and the look's: ``Vocal 2-ch1-static-article.svg``.

    Raises
    ------
    OutputError
        If a file exists and `force` is false, or cannot be written.
    """
    output.prepare_folder(folder)
    start = f"{output.safe_file_name(profile.setting)}-ch{profile.channel}"
    return tuple(
        path
        for name in looks
        for drawing in profile_drawings(profile, LOOKS[name])
        for path in save_drawing(drawing, folder, stem=f"{start}-{drawing.name}-{name}", force=force)
    )


def draw_set(
    profiles: Sequence[Profile],
    names: Sequence[str],
    folder: Path,
    *,
    force: bool,
    looks: Sequence[str] = ("article", "video"),
) -> tuple[Path, ...]:
    """Write the overlays of a set of profiles to a folder, named by figure and look.

    Raises
    ------
    OutputError
        If a file exists and `force` is false, or cannot be written.
    """
    output.prepare_folder(folder)
    return tuple(
        path
        for name in looks
        for drawing in set_drawings(profiles, names, LOOKS[name])
        for path in save_drawing(drawing, folder, stem=f"{drawing.name}-{name}", force=force)
    )


def _has_rows(profile: Profile, curve: str) -> bool:
    if curve == "timing":
        return curve in profile.curves and has_holds(profile.curves[curve])
    return curve in profile.curves and any(len(column) for column in profile.curves[curve].columns.values())
