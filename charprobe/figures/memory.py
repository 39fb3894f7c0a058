"""Programme dependence: how the release depends on how long the burst before it lasted."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from charprobe.chapter import Table
from charprobe.figures.axes import log_time_axis
from charprobe.figures.drawing import Drawing
from charprobe.figures.source import conditions, in_words, numbers, who
from charprobe.figures.style import Look, new_figure, settings
from charprobe.figures.text import put_title_and_footer
from charprobe.profile import Profile

FEWEST_HOLDS = 3
ROOM = 1.6  # the time axis reaches so many times beyond the shortest and longest burst
CURVES = (("t50", "release_t50_s"), ("t63", "release_t63_s"), ("t90", "release_t90_s"))


def draw_memory(profile: Profile, look: Look) -> Drawing:
    """Draw release times against burst length; `has_holds` tells whether a profile's "timing" allows it."""
    table = profile.curves["timing"]
    rows = hold_rows(table)
    hold_s = numbers(table, "hold_s")[rows]
    with settings(look):
        figure, (axes,) = new_figure(look)
        for index, (word, column) in enumerate(CURVES):
            height = numbers(table, column)[rows] * 1e3
            if np.isfinite(height).any():
                axes.plot(hold_s * 1e3, height, label=word, **look.series(index))
        log_time_axis(axes, first=1e3 * hold_s.min() / ROOM, last=1e3 * hold_s.max() * ROOM)
        axes.set_ylim(0, None)
        axes.set(xlabel="length of the burst (ms)", ylabel="release time (ms)")
        axes.legend(loc="upper left")
        title = f"Release against burst length – {who(profile)}"
        ratio = in_words(profile, "release.memory")
        main = f"t63 after the longest burst over t63 after the shortest: {ratio}"
        foot = conditions(profile, ["release.memory"])
        put_title_and_footer(figure, look.frame, title=title, subtitle=main, footer=foot)
    alt = f"Release times t50, t63 and t90 against the length of {rows.size} bursts; {main}."
    return Drawing(figure, look, "memory", title, alt, foot)


def has_holds(table: Table) -> bool:
    """Tell whether release times are known after bursts of at least `FEWEST_HOLDS` lengths."""
    return hold_rows(table).size >= FEWEST_HOLDS


def hold_rows(table: Table) -> NDArray[np.intp]:
    """Return rows that differ in burst length only, shortest first, of the commonest step and carrier."""
    known = np.isfinite(numbers(table, "release_t63_s"))
    columns = [numbers(table, name) for name in ("from_dbfs", "to_dbfs", "carrier_hz")]
    steps = np.round(np.stack(columns, axis=1), 1)
    found, inverse = np.unique(steps, axis=0, return_inverse=True)
    best = np.array([], dtype=np.intp)
    for step in range(len(found)):
        rows = np.flatnonzero((inverse.ravel() == step) & known)
        lengths, first = np.unique(numbers(table, "hold_s")[rows], return_index=True)
        if lengths.size > best.size:
            best = rows[first]
    return best
