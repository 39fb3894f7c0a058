"""Harmonics against level, each frequency in a panel, with what is too small to be seen shaded."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from charprobe.profile.entry import Table, numbers
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.axes import frequency_words
from charprobe.publishing.figures.drawing import Drawing
from charprobe.publishing.figures.labels import EndLabel, label_ends
from charprobe.publishing.figures.source import conditions, in_words, who
from charprobe.publishing.figures.style import Look, new_figure, settings
from charprobe.publishing.figures.text import put_title_and_footer
from charprobe.values.arrays import Array
from charprobe.values.wording import rounded_text

ORDERS = (2, 3, 4, 5, 6, 7)
MOST_PANELS = 3
REDUCING_DB = 0.5  # from here on the stage is said to be reducing gain
ROOM_DB = 6.0
LEAST_SPAN_DB = 40.0


def draw_harmonics(profile: Profile, look: Look) -> Drawing:
    """Draw THD and harmonics of a profile against input level; it must have the curve "harmonics"."""
    table = profile.curves["harmonics"]
    frequencies = frequencies_of(table)
    with settings(look):
        figure, panels = new_figure(look, panels=len(frequencies))
        figure.subplots_adjust(right=0.94, wspace=0.24)
        low, high = _limits(table)
        labels = []
        for axes, frequency_hz in zip(panels, frequencies, strict=True):
            labels.append(plot_harmonics(table, axes, look, frequency_hz=frequency_hz))
            axes.set_ylim(low, high)
            axes.tick_params(labelleft=axes is panels[0])
        panels[0].set_ylabel("level re fundamental (dBc)")
        for axes, names in zip(panels, labels, strict=True):
            label_ends(axes, names, look)
        title = f"Harmonics – {who(profile)}"
        main = (
            f"at the reference: THD {in_words(profile, 'colour.thd_at_reference')}, "
            f"H2 {in_words(profile, 'colour.h2_at_reference')}, "
            f"H3 {in_words(profile, 'colour.h3_at_reference')}"
        )
        foot = conditions(profile, ["colour.thd_at_reference"])
        put_title_and_footer(figure, look.frame, title=title, subtitle=main, footer=foot)
    tones = ", ".join(frequency_words(value) for value in frequencies)
    alt = (
        f"Total harmonic distortion and harmonics 2 to 7 against input level, tones of {tones}; {main}. "
        f"What lies below the detection limit is not drawn. {_reducing_words(table)}"
    )
    return Drawing(figure, look, "harmonics", title, alt, foot)


def plot_harmonics(table: Table, axes: Axes, look: Look, *, frequency_hz: float) -> list[EndLabel]:
    """Plot the harmonics of one tone (dBc) against its input level (dBFS); return the names of the curves."""
    chosen = np.flatnonzero(numbers(table, "frequency_hz") == frequency_hz)
    chosen = chosen[np.argsort(numbers(table, "input_dbfs")[chosen], kind="stable")]
    level = numbers(table, "input_dbfs")[chosen]
    limit = numbers(table, "limit_dbc")[chosen]
    axes.fill_between(
        level, limit, -400.0, facecolor=look.palette.shade, hatch="////", linewidth=0, label="limit"
    )
    reducing = level[np.nan_to_num(numbers(table, "reduction_db")[chosen]) > REDUCING_DB]
    if reducing.size:
        axes.axvline(
            reducing[0], color=look.palette.soft, linewidth=look.frame.line_pt / 2, linestyle=(0, (5, 3))
        )
        axes.annotate(
            "reducing",
            (reducing[0], 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0.2, -0.2),
            textcoords="offset fontsize",
            va="top",
            size=look.frame.font_pt * 0.85,
        )
    names = []
    for index, (word, column) in enumerate((("THD", "thd_dbc"), *((f"H{n}", f"h{n}_dbc") for n in ORDERS))):
        height = numbers(table, column)[chosen]
        style = look.series(index)
        axes.plot(level, height, label=word, **style)
        drawn = np.flatnonzero(np.isfinite(height))
        if drawn.size:
            names.append(EndLabel(word, float(height[drawn[-1]]), style["color"]))
    if not names:
        box = {"facecolor": look.palette.paper, "edgecolor": "none", "pad": 2.0}
        axes.text(0.5, 0.75, "nothing above\nthe limit", transform=axes.transAxes, ha="center", bbox=box)
    if level.size > 1:
        axes.set_xlim(level[0] - 1.0, level[-1] + 1.0)
    axes.set(title=f"{frequency_words(frequency_hz)} tone", xlabel="input level (dBFS)")
    return names


def frequencies_of(table: Table) -> list[float]:
    """Return the tone frequencies in Hz, evenly thinned out to `MOST_PANELS`."""
    found = sorted(set(numbers(table, "frequency_hz").tolist()))
    if len(found) <= MOST_PANELS:
        return found
    return [found[round(i * (len(found) - 1) / (MOST_PANELS - 1))] for i in range(MOST_PANELS)]


def _limits(table: Table) -> tuple[float, float]:
    """Lowest and highest level drawn: all curves and the detection limit, with some room."""
    columns: list[Array] = [numbers(table, name) for name in ("thd_dbc", *(f"h{n}_dbc" for n in ORDERS))]
    drawn, limit = np.concatenate(columns), numbers(table, "limit_dbc")
    drawn, limit = drawn[np.isfinite(drawn)], limit[np.isfinite(limit)]
    low = min(float(drawn.min(initial=0.0)), float(limit.min(initial=0.0)))
    high = max(float(drawn.max(initial=-200.0)), float(limit.max(initial=-200.0)))
    if low >= high:
        return -120.0, -40.0
    return low - ROOM_DB, max(high, low + LEAST_SPAN_DB) + ROOM_DB


def _reducing_words(table: Table) -> str:
    level = numbers(table, "input_dbfs")[np.nan_to_num(numbers(table, "reduction_db")) > REDUCING_DB]
    if not level.size:
        return "The stage was not reducing gain."
    return f"The stage was reducing gain from {rounded_text(float(level.min()))} dBFS up."
