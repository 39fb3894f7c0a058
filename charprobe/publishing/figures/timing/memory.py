"""Programme dependence: how the release depends on how long the burst before it lasted."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from charprobe.profile.entry import Table, numbers
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.look.axes import log_time_axis
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.source import conditions, curve_of, in_words, who
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel
from charprobe.values.errors import ProfileError
from charprobe.values.wording import number_text

RowNumbers = NDArray[np.intp]
FEWEST_HOLDS = 3
ROOM = 1.6  # the time axis reaches so many times beyond the shortest and longest burst
CURVES = (("t50", "release_t50_s"), ("t63", "release_t63_s"), ("t90", "release_t90_s"))


def draw_memory(profile: Profile, look: Look) -> Drawing:
    """Draw release times against burst length; `has_holds` tells whether a profile's "timing" allows it."""
    depths = hold_rows(profile.curves["timing"])
    lengths = np.unique(numbers(profile.curves["timing"], "hold_s")[np.concatenate(depths)]).size
    main = f"t63 after the longest burst over t63 after the shortest: {in_words(profile, 'release.memory')}"
    what = "t50, t63 and t90" if len(depths) == 1 else f"t63 from {len(depths)} depths"
    return composed(
        "memory",
        look,
        [partial(plot_memory, profile)],
        title=f"Release against burst length – {who(profile)}",
        main=main,
        conditions=conditions(profile, ["release.memory"]),
        alt=f"Release times {what} against the length of {lengths} bursts; {main}.",
    )


def plot_memory(profile: Profile, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot release times (ms) against the length of the burst before (ms).

    One depth shows t50, t63 and t90; several depths show t63, one line each.

    Raises
    ------
    ProfileError
        If bursts of fewer than `FEWEST_HOLDS` lengths have a release time.
    """
    table = curve_of(profile, "timing")
    depths = hold_rows(table)
    if not depths:
        raise ProfileError(
            f"{who(profile)}: fewer than {FEWEST_HOLDS} burst lengths with a release time, too few to plot; "
            "measure with a recipe that has bursts of several lengths"
        )
    hold_ms = 1e3 * numbers(table, "hold_s")
    with panel(ax, look) as axes:
        for index, (words, rows, column) in enumerate(_lines(table, depths)):
            height = numbers(table, column)[rows] * 1e3
            if np.isfinite(height).any():
                axes.plot(hold_ms[rows], height, label=words, **look.series(index))
        drawn = hold_ms[np.concatenate(depths)]
        log_time_axis(axes, first=drawn.min() / ROOM, last=drawn.max() * ROOM)
        axes.set_ylim(0, None)
        axes.set(xlabel="length of the burst (ms)", ylabel="release time (ms)")
        axes.legend(loc="upper left")
    return axes


def _lines(table: Table, depths: Sequence[RowNumbers]) -> list[tuple[str, RowNumbers, str]]:
    """What is drawn: words, rows, and the column of the height."""
    if len(depths) == 1:
        return [(word, depths[0], column) for word, column in CURVES]
    reduction, level = numbers(table, "reduction_db"), numbers(table, "to_dbfs")
    return [
        (
            f"t63, {number_text(level[rows[0]], 1)} dBFS, {np.nanmax(reduction[rows]):.1f} dB of reduction",
            rows,
            "release_t63_s",
        )
        for rows in depths
    ]


def has_holds(table: Table) -> bool:
    """Tell whether release times are known after bursts of at least `FEWEST_HOLDS` lengths."""
    return bool(hold_rows(table))


def hold_rows(table: Table) -> list[RowNumbers]:
    """Return rows that differ in burst length only, shortest first: one array for each step, deepest first.

    Steps share the carrier of the one with most lengths.
    """
    known = np.isfinite(numbers(table, "release_t63_s"))
    columns = [numbers(table, name) for name in ("to_dbfs", "from_dbfs", "carrier_hz")]
    steps = np.round(np.stack(columns, axis=1), 1)
    found, inverse = np.unique(steps, axis=0, return_inverse=True)
    depths: list[RowNumbers] = []
    for step in range(len(found)):
        rows = np.flatnonzero((inverse.ravel() == step) & known)
        lengths, first = np.unique(numbers(table, "hold_s")[rows], return_index=True)
        if lengths.size >= FEWEST_HOLDS:
            depths.append(rows[first])
    if not depths:
        return []
    carrier_hz = columns[2][max(depths, key=len)[0]]
    return [rows for rows in reversed(depths) if columns[2][rows[0]] == carrier_hz]
