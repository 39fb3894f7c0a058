"""The static curve: output against input as it is, and gain anchored at low level."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from charprobe.profile.entry import Table, flags, numbers, rows_of
from charprobe.profile.profile import Profile, measured
from charprobe.publishing.figures.drawing import Drawing
from charprobe.publishing.figures.source import conditions, in_words, who
from charprobe.publishing.figures.style import Look, new_figure, settings
from charprobe.publishing.figures.text import put_title_and_footer
from charprobe.values.arrays import Array
from charprobe.values.quantity import Z95, Quantity, Unmeasured

NAMES = ("static.threshold", "static.ratio", "static.knee_width", "static.makeup_gain")
LEAST_SPAN_DB = 0.2
LOW_SPAN_DB = 9.0  # the lowest part of a curve that anchors it where no low-level gain was measured


def draw_static(profile: Profile, look: Look) -> Drawing:
    """Draw the static curve of a profile; it must have the curve "static"."""
    table = profile.curves["static"]
    with settings(look):
        figure, (left, right) = new_figure(look, panels=2)
        plot_static(table, left, look)
        plot_anchored(table, right, look, low_level_gain=measured(profile, "static.low_level_gain"))
        threshold = measured(profile, "static.threshold")
        if threshold is not None:
            for axes in (left, right):
                mark_threshold(axes, threshold, look)
        _put_legend(left)
        foot = conditions(profile, NAMES)
        title = f"Static curve – {who(profile)}"
        main = _main_words(profile)
        put_title_and_footer(figure, look.frame, title=title, subtitle=main, footer=foot)
    late = int((~flags(table, "settled", missing=True)).sum())
    alt = (
        f"Two panels. Left: settled output level against input level. Right: gain less the low-level gain. "
        f"{main}, knee {in_words(profile, 'static.knee_width')}, "
        f"make-up {in_words(profile, 'static.makeup_gain')}. "
        f"{late} of {rows_of(table)} points had not settled and are crossed out."
    )
    return Drawing(figure, look, "static", title, alt, foot)


def _main_words(profile: Profile) -> str:
    """Return the main numbers: a slope where no ratio was given, and bends beside the threshold's if any."""
    steep = "ratio" if measured(profile, "static.ratio") is not None else "slope"
    if measured(profile, "static.slope") is None:
        steep = "ratio"
    threshold = in_words(profile, "static.threshold")
    entry = profile.quantities.get("static.threshold")
    bounded = (
        entry is not None and isinstance(entry.reading, Unmeasured) and entry.reading.at_least is not None
    )
    bends = [
        place for place in ("second", "lower") if measured(profile, f"static.{place}_threshold") is not None
    ]
    if bounded and measured(profile, "static.slope") is None:
        words = ["no compression found" + ("" if bends else f" (threshold {threshold})")]
    else:
        words = [f"threshold {threshold}", f"{steep} {in_words(profile, f'static.{steep}')}"]
    words += [f"{place} threshold {in_words(profile, f'static.{place}_threshold')}" for place in bends]
    if bounded and bends == ["lower"]:
        words.append(f"lower slope {in_words(profile, 'static.lower_slope')}")
    return ", ".join(words)


def _put_legend(axes: Axes) -> None:
    """Name rising and falling first, then what is drawn around them."""
    handles, names = axes.get_legend_handles_labels()
    first = {"rising": 0, "falling": 1}
    order = sorted(range(len(names)), key=lambda i: first.get(names[i], 2))
    axes.legend([handles[i] for i in order], [names[i] for i in order], loc="upper left", handlelength=1.6)


def plot_static(table: Table, axes: Axes, look: Look) -> Axes:
    """Plot output level against input level (both dBFS), with the line of unchanged level."""
    _plot_points(table, numbers(table, "output_dbfs"), axes, look)
    level = numbers(table, "input_dbfs")
    ends = np.array([np.nanmin(level), np.nanmax(level)])
    axes.plot(ends, ends, color=look.palette.soft, linewidth=look.frame.line_pt / 2, label="output = input")
    axes.set(title="As it is", xlabel="input level (dBFS)", ylabel="output level (dBFS)")
    return axes


def plot_anchored(table: Table, axes: Axes, look: Look, *, low_level_gain: Quantity | None) -> Axes:
    """Plot gain less the low-level gain (dB) against input level (dBFS)."""
    gain = numbers(table, "gain_db")
    _plot_points(table, gain - anchor(table, low_level_gain), axes, look)
    low, high = axes.get_ylim()
    if high - low < LEAST_SPAN_DB:  # a plain gain is to look like one
        middle = (low + high) / 2
        axes.set_ylim(middle - LEAST_SPAN_DB / 2, middle + LEAST_SPAN_DB / 2)
    axes.set(title="Anchored at low level", xlabel="input level (dBFS)", ylabel="gain re low level (dB)")
    return axes


def anchor(table: Table, low_level_gain: Quantity | None) -> float:
    """Return the gain in dB that an anchored curve takes off: measured, else the mean of the lowest steps."""
    if low_level_gain is not None:
        return low_level_gain.value
    level, gain = numbers(table, "input_dbfs"), numbers(table, "gain_db")
    return float(np.nanmean(gain[level <= np.nanmin(level) + LOW_SPAN_DB]))


def mark_threshold(axes: Axes, threshold: Quantity, look: Look) -> None:
    """Mark the threshold by a line and its interval by a band."""
    axes.axvspan(threshold.low, threshold.high, color=look.palette.soft, alpha=0.25, linewidth=0, zorder=0.5)
    axes.axvline(
        threshold.value,
        color=look.palette.soft,
        linewidth=look.frame.line_pt / 2,
        linestyle=(0, (5, 3)),
        label="threshold",
    )


def _plot_points(table: Table, height: Array, axes: Axes, look: Look) -> None:
    """Plot rising and falling points with their intervals; cross out the unsettled ones."""
    late = ~flags(table, "settled", missing=True)
    level = numbers(table, "input_dbfs")
    reach = np.where(late, 0.0, Z95 * np.nan_to_num(numbers(table, "std_db")))  # a late point has no end
    falling = np.array([cell == "falling" for cell in table.columns["direction"]])
    for index, (word, chosen, fill) in enumerate(
        (("rising", ~falling, "full"), ("falling", falling, "none"))
    ):
        if not chosen.any():
            continue
        style = look.series(index) | {"marker": "^" if word == "rising" else "v"}
        axes.errorbar(level[chosen], height[chosen], reach[chosen], label=word, fillstyle=fill, **style)
    bent = flags(table, "saturated", missing=False) if "saturated" in table.columns else np.zeros_like(late)
    if bent.any():
        axes.plot(
            level[bent],
            height[bent],
            "s",
            color=look.palette.ink,
            fillstyle="none",
            markersize=look.frame.marker_pt * 1.8,
            markeredgewidth=look.frame.line_pt * 0.4,
            label="saturated",
        )
    if late.any():
        axes.plot(
            level[late],
            height[late],
            "x",
            color=look.palette.ink,
            markersize=look.frame.marker_pt * 1.4,
            markeredgewidth=look.frame.line_pt * 0.5,
            label="not settled",
        )
