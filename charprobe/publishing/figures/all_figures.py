"""Every figure that a profile, or a set of profiles, has the curves for."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from pathlib import Path

from charprobe.files import output
from charprobe.profile.entry import Table, rows_of
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.colour_card import draw_colour_card
from charprobe.publishing.figures.colour_map import draw_colour_map, has_cells
from charprobe.publishing.figures.harmonics import draw_harmonics
from charprobe.publishing.figures.look.drawing import Drawing, save_drawing
from charprobe.publishing.figures.look.source import figure_stem
from charprobe.publishing.figures.look.style import LOOKS, Look
from charprobe.publishing.figures.noise import draw_noise
from charprobe.publishing.figures.overlay import OVERLAYS, draw_overlay, members
from charprobe.publishing.figures.replica import draw_replica
from charprobe.publishing.figures.response import draw_response
from charprobe.publishing.figures.static import draw_static
from charprobe.publishing.figures.timing.gain_trace import draw_gain_trace, draw_gain_trace_log
from charprobe.publishing.figures.timing.memory import draw_memory, has_holds
from charprobe.publishing.figures.timing.train import draw_train
from charprobe.publishing.figures.transfer import draw_transfer

DRAW: tuple[tuple[str, str, Callable[[Table], object], Callable[[Profile, Look], Drawing]], ...] = (
    ("static", "static", rows_of, draw_static),
    ("attack-release", "gain_trace", rows_of, draw_gain_trace),
    ("attack-release-log", "gain_trace", rows_of, draw_gain_trace_log),
    ("memory", "timing", has_holds, draw_memory),
    ("train", "burst_train_trace", rows_of, draw_train),
    ("harmonics", "harmonics", rows_of, draw_harmonics),
    ("colour-map", "harmonics", has_cells, draw_colour_map),
    ("colour-card", "harmonics", rows_of, draw_colour_card),
    ("transfer", "transfer", rows_of, draw_transfer),
    ("response", "response", rows_of, draw_response),
    ("noise", "noise_spectrum", rows_of, draw_noise),
    ("replica", "replica_gain", rows_of, draw_replica),
)
"""Name of a figure, curve that it needs, whether it suffices, and the function that draws it."""


def profile_drawings(profile: Profile, look: Look, *, without: Collection[str] = ()) -> tuple[Drawing, ...]:
    """Draw what the curves of a profile allow, `without` some figures; empty curves are passed over."""
    return tuple(
        draw(profile, look)
        for name, curve, suffices, draw in DRAW
        if name not in without and curve in profile.curves and suffices(profile.curves[curve])
    )


def set_drawings(profiles: Sequence[Profile], names: Sequence[str], look: Look) -> tuple[Drawing, ...]:
    """Draw the overlays of a set of profiles, for the curves that at least two of them have."""
    every = members(profiles, names)
    return tuple(draw_overlay(one, every, look) for one in OVERLAYS if len(one.shown(every)) >= one.fewest)


def draw_profile(
    profile: Profile, folder: Path, *, force: bool, looks: Sequence[str] = ("article", "video")
) -> tuple[Path, ...]:
    """Write every figure of a profile to a folder: SVG, PNG, PDF and words, in each of the `looks`.

    Names are the setting's, the channel's, the figure's and the look's: ``Vocal 2-ch1-static-article.svg``.
    `OutputError` if a file exists and `force` is false, or cannot be written.
    """
    output.prepare_folder(folder)
    start = figure_stem(profile)
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
    """Write the overlays of a set of profiles, named by figure and look; errors as in `draw_profile`."""
    output.prepare_folder(folder)
    return tuple(
        path
        for name in looks
        for drawing in set_drawings(profiles, names, LOOKS[name])
        for path in save_drawing(drawing, folder, stem=f"{drawing.name}-{name}", force=force)
    )
