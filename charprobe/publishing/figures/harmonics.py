"""Harmonics against level, each frequency in a panel, with what is too small to be seen shaded."""

from __future__ import annotations

from functools import partial

import numpy as np
from matplotlib.axes import Axes

from charprobe.comparing.curve_kinds import middle_tone, tones_of
from charprobe.profile.entry import Table, numbers
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.look.axes import frequency_words, interval_band, one_scale_name
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.labels import EndLabel, label_ends
from charprobe.publishing.figures.look.source import conditions, curve_of, in_words, who
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel
from charprobe.publishing.portrait import reference_tone
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
    main = f"{reference_tone(profile) or 'at the reference'}: " + ", ".join(
        f"{word} {in_words(profile, f'colour.{word.lower()}_at_reference')}" for word in ("THD", "H2", "H3")
    )
    tones = ", ".join(frequency_words(value) for value in frequencies)
    drawing = composed(
        "harmonics",
        look,
        [partial(plot_harmonics, profile, frequency_hz=value) for value in frequencies],
        title=f"Harmonics – {who(profile)}",
        main=f"{main}; hatched: noise",
        conditions=conditions(profile, ["colour.thd_at_reference"]),
        alt=f"Total harmonic distortion and harmonics 2 to 7 against input level, tones of {tones}; {main}. "
        f"What lies below the detection limit is not drawn. {_reducing_words(table)}",
        right=0.94,
        wspace=0.24,
    )
    one_scale_name(drawing.figure.axes)
    return drawing


def plot_harmonics(
    profile: Profile,
    ax: Axes | None = None,
    *,
    frequency_hz: float | None = None,
    look: Look = ARTICLE_LOOK,
) -> Axes:
    """Plot the harmonics of one tone (dBc) against its input level (dBFS), what is undetectable shaded.

    `frequency_hz` is one of `frequencies_of` the curve "harmonics"; left out, the one nearest to 1 kHz.
    """
    table = curve_of(profile, "harmonics")
    if frequency_hz is None:
        frequency_hz = middle_tone(frequencies_of(table))
    with panel(ax, look) as axes:
        labels = _plot_tone(table, axes, look, frequency_hz)
        axes.set_ylim(*_limits(table))
        axes.set_ylabel("level re fundamental (dBc)")
        label_ends(axes, labels, look)
    return axes


def _plot_tone(table: Table, axes: Axes, look: Look, frequency_hz: float) -> list[EndLabel]:
    """Plot one tone and return the names of its curves."""
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
        height = np.where(height < limit, np.nan, height)  # in the noise it is no reading
        style = look.order(index + 1)
        axes.plot(level, height, label=word, **style)
        std = numbers(table, f"{column.removesuffix('_dbc')}_std_db")[chosen]
        interval_band(axes, level, height, std, colour=style["color"])
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
    found = tones_of(table)
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
