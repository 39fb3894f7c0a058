"""The static curve: output against input as it is, and gain anchored at low level."""

from __future__ import annotations

from functools import partial

import numpy as np
from matplotlib.axes import Axes

from charprobe.profile.entry import Table, flags, numbers, rows_of
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.source import conditions, curve_of, in_words, who
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel
from charprobe.values.arrays import Array
from charprobe.values.quantity import Z95, Unmeasured

NAMES = ("static.threshold", "static.ratio", "static.knee_width", "static.makeup_gain")
LEAST_SPAN_DB = 0.2
LOW_SPAN_DB = 9.0  # the lowest part of a curve that anchors it where no low-level gain was measured


def draw_static(profile: Profile, look: Look) -> Drawing:
    """Draw the static curve of a profile; it must have the curve "static"."""
    table = profile.curves["static"]
    main = _main_words(profile)
    late = int((~flags(table, "settled", missing=True)).sum())
    return composed(
        "static",
        look,
        [partial(plot_static_curve, profile), partial(plot_anchored_curve, profile)],
        title=f"Static curve – {who(profile)}",
        main=main,
        conditions=conditions(profile, NAMES),
        alt="Two panels. Left: settled output level against input level. Right: gain less the low-level "
        f"gain. {main}, knee {in_words(profile, 'static.knee_width')}, "
        f"make-up {in_words(profile, 'static.makeup_gain')}. "
        f"{late} of {rows_of(table)} points had not settled and are crossed out.",
    )


def _main_words(profile: Profile) -> str:
    """Return the main numbers: a slope where no ratio was given, and bends beside the threshold's if any."""
    sloped = profile.measured("static.slope") is not None
    steep = "slope" if sloped and profile.measured("static.ratio") is None else "ratio"
    threshold = in_words(profile, "static.threshold")
    top = profile.reading("static.threshold")
    bounded = isinstance(top, Unmeasured) and top.at_least is not None
    bends = [
        place for place in ("second", "lower") if profile.measured(f"static.{place}_threshold") is not None
    ]
    if bounded and not sloped:
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


def plot_static_curve(profile: Profile, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot output against input level (both dBFS), with the line of unchanged level and the threshold."""
    table = curve_of(profile, "static")
    level = numbers(table, "input_dbfs")
    ends = np.array([np.nanmin(level), np.nanmax(level)])
    with panel(ax, look) as axes:
        _plot_points(table, numbers(table, "output_dbfs"), axes, look)
        width = look.frame.line_pt / 2
        axes.plot(ends, ends, color=look.palette.soft, linewidth=width, label="output = input")
        axes.set(title="As it is", xlabel="input level (dBFS)", ylabel="output level (dBFS)")
        _mark_threshold(profile, axes, look)
        _put_legend(axes)
    return axes


def plot_anchored_curve(profile: Profile, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot gain less the low-level gain (dB) against input level (dBFS), with the threshold."""
    table = curve_of(profile, "static")
    gain = numbers(table, "gain_db") - anchor(profile)
    with panel(ax, look) as axes:
        _plot_points(table, gain, axes, look)
        low, high = axes.get_ylim()
        if high - low < LEAST_SPAN_DB:  # a plain gain is to look like one
            middle = (low + high) / 2
            axes.set_ylim(middle - LEAST_SPAN_DB / 2, middle + LEAST_SPAN_DB / 2)
        axes.set(title="Anchored at low level", xlabel="input level (dBFS)", ylabel="gain re low level (dB)")
        _mark_threshold(profile, axes, look)
    return axes


def anchor(profile: Profile) -> float:
    """Return the gain in dB that an anchored curve takes off: measured, else the mean of the lowest steps."""
    low_level_gain = profile.measured("static.low_level_gain")
    if low_level_gain is not None:
        return low_level_gain.value
    table = curve_of(profile, "static")
    level, gain = numbers(table, "input_dbfs"), numbers(table, "gain_db")
    return float(np.nanmean(gain[level <= np.nanmin(level) + LOW_SPAN_DB]))


def _mark_threshold(profile: Profile, axes: Axes, look: Look) -> None:
    """Mark the threshold, where it was measured, by a line and its interval by a band."""
    threshold = profile.measured("static.threshold")
    if threshold is None:
        return
    soft, width = look.palette.soft, look.frame.line_pt / 2
    axes.axvspan(threshold.low, threshold.high, color=soft, alpha=0.25, linewidth=0, zorder=0.5)
    axes.axvline(threshold.value, color=soft, linewidth=width, linestyle=(0, (5, 3)), label="threshold")


def _plot_points(table: Table, height: Array, axes: Axes, look: Look) -> None:
    """Plot rising and falling points with their intervals; cross out the unsettled ones."""
    late = ~flags(table, "settled", missing=True)
    level = numbers(table, "input_dbfs")
    reach = np.where(late, 0.0, Z95 * np.nan_to_num(numbers(table, "std_db")))  # a late point has no end
    falling = np.array([cell == "falling" for cell in table.columns["direction"]])
    for index, (word, chosen) in enumerate((("rising", ~falling), ("falling", falling))):
        if not chosen.any():
            continue
        style = look.series(index) | {"marker": ""}
        axes.errorbar(level[chosen], height[chosen], reach[chosen], label=word, **style)
    bent, size, width = flags(table, "saturated", missing=False), look.frame.marker_pt, look.frame.line_pt
    for chosen, mark, fill, word, marker_pt, edge_pt in (
        (bent, "s", "none", "saturated", 1.8 * size, 0.4 * width),
        (late, "x", "full", "not settled", 1.4 * size, 0.5 * width),
    ):
        if chosen.any():
            style = {"color": look.palette.ink, "markersize": marker_pt, "markeredgewidth": edge_pt}
            axes.plot(level[chosen], height[chosen], mark, label=word, fillstyle=fill, **style)
