"""Distortion over level and frequency: one cell per tone, its total harmonic distortion in figures."""

from __future__ import annotations

from functools import partial

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from charprobe.profile.entry import Table, numbers
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.look.axes import frequency_words
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.source import conditions, curve_of, in_words, who
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel
from charprobe.values.arrays import Array
from charprobe.values.wording import number_text

FEWEST_CELLS = 4
REDUCING_DB = 0.5
SPAN_DBC = (-120.0, -20.0)  # levels of the lightest and the strongest cell


def draw_colour_map(profile: Profile, look: Look) -> Drawing:
    """Draw total harmonic distortion by input level and frequency; the profile must have "harmonics"."""
    levels, tones, thd, _, reduced = cells_of(profile.curves["harmonics"])
    words = ", ".join(frequency_words(tone) for tone in tones)
    span = f"{number_text(levels[0], 0)} to {number_text(levels[-1], 0)} dBFS"
    return composed(
        "colour-map",
        look,
        [partial(plot_colour_map, profile)],
        title=f"Distortion by level and frequency – {who(profile)}",
        main="THD in dBc; hatched: none above the limit given"
        + ("; bar below a cell: the stage reduces gain" if np.any(reduced > REDUCING_DB) else ""),
        conditions=conditions(profile, []),
        alt=f"Total harmonic distortion in {thd.size} cells, tones of {words} from {span}; "
        f"{np.count_nonzero(~np.isfinite(thd))} cells show none. Onset of colour: "
        f"{in_words(profile, 'colour.onset')}.",
    )


def plot_colour_map(profile: Profile, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot a cell with the total harmonic distortion (dBc) for each input level (dBFS) and tone (Hz)."""
    levels, tones, thd, limit, reduced = cells_of(curve_of(profile, "harmonics"))
    with panel(ax, look) as axes:
        for row, column in np.ndindex(thd.shape):
            _cell(axes, look, row, column, float(thd[row, column]), float(limit[row, column]))
            if np.nan_to_num(reduced[row, column]) > REDUCING_DB:
                axes.plot(
                    [column - 0.42, column + 0.42], [row - 0.4] * 2, color=look.palette.series[1],
                    linewidth=2 * look.frame.line_pt, solid_capstyle="butt",
                )  # fmt: skip
        axes.set(xlim=(-0.5, len(levels) - 0.5), ylim=(-0.5, len(tones) - 0.5))
        axes.set_xticks(range(len(levels)), [number_text(level, 0) for level in levels])
        axes.set_yticks(range(len(tones)), [f"{tone:g}" for tone in tones])
        axes.grid(visible=False)
        axes.set(xlabel="input level (dBFS)", ylabel="tone (Hz)")
    return axes


def has_cells(table: Table) -> bool:
    """Tell whether there are levels and frequencies enough for a map."""
    levels, tones, *_ = cells_of(table)
    return len(tones) > 1 and len(levels) * len(tones) >= FEWEST_CELLS


def cells_of(table: Table) -> tuple[list[float], list[float], Array, Array, Array]:
    """Return levels (dBFS) and tones (Hz), ascending, and THD, limit (dBc) and reduction (dB) by both."""
    level = np.round(numbers(table, "input_dbfs"))
    tone = numbers(table, "frequency_hz")
    levels, tones = np.unique(level), np.unique(tone)
    grids = []
    for name in ("thd_dbc", "limit_dbc", "reduction_db"):
        grid = np.full((tones.size, levels.size), np.nan)
        grid[np.searchsorted(tones, tone), np.searchsorted(levels, level)] = numbers(table, name)
        grids.append(grid)
    return levels.tolist(), tones.tolist(), grids[0], grids[1], grids[2]


def _cell(axes: Axes, look: Look, row: int, column: int, thd: float, limit: float) -> None:
    """Draw one cell: shaded by its distortion, hatched where only a limit is known, else empty."""
    if not np.isfinite(thd) and not np.isfinite(limit):
        return
    palette, seen = look.palette, bool(np.isfinite(thd))
    low, high = SPAN_DBC
    share = float(np.clip((thd - low) / (high - low), 0.05, 1.0)) if seen else 0.0
    place = (column - 0.48, row - 0.46)
    # the colour lets the ground through, so that a page in another palette stays right
    if seen:
        box = Rectangle(place, 0.96, 0.92, facecolor=palette.series[0], alpha=share, linewidth=0)
    else:
        thin = look.frame.line_pt / 4
        box = Rectangle(
            place, 0.96, 0.92, facecolor=palette.paper, edgecolor=palette.grid, hatch="////", linewidth=thin
        )
    axes.add_patch(box)
    text = number_text(thd, 0) if seen else f"< {number_text(limit, 0)}"
    size = look.frame.font_pt * (0.85 if seen else 0.75)
    back = {"facecolor": palette.paper, "edgecolor": "none", "pad": 0.8, "alpha": 0.85}  # in any palette
    axes.text(column, row, text, ha="center", va="center", size=size, bbox=back)
