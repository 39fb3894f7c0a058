"""A pair by time and frequency: the dry sound, and what the stage made louder or softer where."""

from __future__ import annotations

from functools import partial

import numpy as np
from matplotlib.axes import Axes

from charprobe.listening.ab import MadePair
from charprobe.listening.band_picture import QUIETEST_DB, BandPicture, picture_bands
from charprobe.publishing.figures.look.axes import hertz
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel
from charprobe.values.arrays import Array
from charprobe.values.wording import signed_text

TICKS_HZ = (100.0, 1000.0, 10_000.0)
LEAST_CHANGE_DB = 3.0  # a change that is none looks like none


def draw_pair_picture(made: MadePair, look: Look) -> Drawing:
    """Draw the level of the dry sound and its change over time and frequency."""
    picture = picture_bands(made.pair)
    low, middle, high = _spread_db(picture)
    main = (
        f"middle change {signed_text(middle, 1)} dB, nine tenths between {signed_text(low, 1)} "
        f"and {signed_text(high, 1)} dB"
    )
    title = "The pair by time and frequency"
    return composed(
        "time-and-frequency",
        look,
        [partial(_levels, picture), partial(_change, picture)],
        title=title,
        main=main,
        conditions="Power of all channels in bands of equal width to the ear, windows of 4096 frames, before "
        f"matching. Blank where the dry sound lies more than {-QUIETEST_DB:.0f} dB under its loudest.",
        alt=f"{title}: {main}.",
        wspace=0.3,
    )


def plot_band_levels(made: MadePair, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot the level (dB) of a pair's dry sound over time (s) and frequency (Hz)."""
    return _levels(picture_bands(made.pair), ax, look=look)


def plot_band_change(made: MadePair, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot what the stage made louder or softer (dB) over time (s) and frequency (Hz)."""
    return _change(picture_bands(made.pair), ax, look=look)


def _levels(picture: BandPicture, ax: Axes | None, *, look: Look) -> Axes:
    label = "dry sound (dB re its loudest)"
    return _mesh(picture, picture.level_db, ax, look, label=label, colours="cividis", span=(QUIETEST_DB, 0.0))


def _change(picture: BandPicture, ax: Axes | None, *, look: Look) -> Axes:
    low, _, high = _spread_db(picture)
    reach = max(LEAST_CHANGE_DB, abs(low), abs(high))
    label = "processed re dry (dB)"
    return _mesh(picture, picture.change_db, ax, look, label=label, colours="RdBu_r", span=(-reach, reach))


def _mesh(
    picture: BandPicture,
    values: Array,
    ax: Axes | None,
    look: Look,
    *,
    label: str,
    colours: str,
    span: tuple[float, float],
) -> Axes:
    with panel(ax, look) as axes:
        axes.set_yscale("log")
        axes.grid(visible=False)
        mesh = axes.pcolormesh(
            picture.time_s, picture.frequency_hz, values, cmap=colours, vmin=span[0], vmax=span[1],
            shading="nearest", rasterized=True,
        )  # fmt: skip
        axes.set_yticks(TICKS_HZ, [hertz(value) for value in TICKS_HZ])
        axes.set_yticks([], minor=True)
        axes.set(xlabel="time from the first common sample (s)", ylabel="frequency (Hz)")
        axes.figure.colorbar(mesh, ax=axes, label=label, orientation="horizontal", location="top")
    return axes


def _spread_db(picture: BandPicture) -> Array:
    """Changes that 5, 50 and 95 % of the picture stay under; zeros where nothing is loud enough to tell."""
    known = picture.change_db[np.isfinite(picture.change_db)]
    return np.percentile(known, [5, 50, 95]) if known.size else np.zeros(3)
