"""Attack and release: the gain at every sample around the edges, with the named times on it."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from charprobe.profile.burst_traces import edge_traces, reference_step
from charprobe.profile.entry import Table, numbers
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.look.axes import log_time_axis
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.source import conditions, curve_of, in_words, who
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel
from charprobe.values.arrays import Array
from charprobe.values.edge import Edge
from charprobe.values.editors_digits import edited_number
from charprobe.values.wording import number_text, rounded_text

MARKED = ("t50", "t63", "t90")
SHOWN_T90 = {"attack": 3.0, "release": 1.8}  # how many t90 the panels reach
LOG_REACH_T90 = 4.0  # the same of logarithmic panels, before room for words
BEFORE = 0.08  # share of the panel that lies before the edge
BESIDE, LINE, WIDE = 0.7, 1.4, 9.0  # letters from a marker to its words, of a line, of the words
RINGING_PERIODS = 10.0  # of the carrier beside an edge, which do not set the scale
LEAST_SPAN_DB = 4.0
EDGE_SHARE = 0.6  # of a linear panel; times beyond are named to their left
Traces = dict[int, tuple[Array, Array]]  # times (s) and gains (dB) by burst condition
MOST_STEPS = 6  # burst conditions drawn; more would hide each other


def draw_gain_trace(profile: Profile, look: Look) -> Drawing:
    """Draw attack and release on linear time axes; the profile must have "timing" and "gain_trace"."""
    return _draw(profile, look, log_time=False)


def draw_gain_trace_log(profile: Profile, look: Look) -> Drawing:
    """Draw attack and release on logarithmic time axes, where each stage of a recovery shows as a bend."""
    return _draw(profile, look, log_time=True)


def _draw(profile: Profile, look: Look, *, log_time: bool) -> Drawing:
    names = [f"{edge}.{point}" for edge in ("attack", "release") for point in MARKED]
    times = ", ".join(f"{name.replace('.', ' ')} {in_words(profile, name)}" for name in names)
    axis = "a logarithmic" if log_time else "a linear"
    return composed(
        "attack-release-log" if log_time else "attack-release",
        look,
        [partial(plot_gain_trace, profile, edge=edge, log_time=log_time) for edge in ("attack", "release")],
        title=f"Attack and release – {who(profile)}",
        main=f"attack t63 {in_words(profile, 'attack.t63')}, release t63 {in_words(profile, 'release.t63')}",
        conditions=conditions(profile, names),
        alt=f"Two panels with {axis} time axis: gain after the rising edge, and after the falling edge. "
        f"{times}.",
    )


def plot_gain_trace(
    profile: Profile,
    ax: Axes | None = None,
    *,
    edge: Edge = "attack",
    log_time: bool = False,
    look: Look = ARTICLE_LOOK,
) -> Axes:
    """Plot the gain (dB) against time from an edge (ms or s), one curve per burst condition.

    The named times are marked on the curve of the condition that the quantities of the profile speak of.
    A logarithmic axis shows each stage of a recovery as a bend.
    """
    timing, trace = curve_of(profile, "timing"), curve_of(profile, "gain_trace")
    reference = reference_step(profile)
    traces = edge_traces(trace, edge)
    steps = _drawn(list(traces), reference)
    reach = _reach(timing, traces, edge)
    scale, unit = (1e3, "ms") if reach < 1 else (1.0, "s")
    with panel(ax, look) as axes:
        for index, step in enumerate(steps):
            time_s, gain_db = traces[step]
            if edge == "release":  # the fall of a loud burst rings far beyond the gain it leaves
                gain_db = np.where(_away(timing, time_s, step), gain_db, np.nan)
            style = look.series(index) | {"marker": ""}
            if step != reference:
                style |= {"linewidth": look.frame.line_pt * 0.6, "alpha": 0.75}
            axes.plot(time_s * scale, gain_db, label=step_name(timing, step), **style)
        axes.set_ylim(*_gain_limits(timing, traces, edge, steps))
        word = "rising" if edge == "attack" else "falling"
        axes.set(title=edge.capitalize(), xlabel=f"time from the {word} edge ({unit})", ylabel="gain (dB)")
        if log_time:
            _log_axis(timing, traces, axes, edge, scale)
        else:
            axes.set_xlim(-BEFORE * reach * scale, reach * scale)
            axes.axvline(0, color=look.palette.soft, linewidth=look.frame.line_pt / 2)
        if reference in steps:
            published = {point: profile.measured(f"{edge}.{point}") for point in MARKED}
            times = {point: time.value for point, time in published.items() if time is not None}
            _mark_times(times, traces[reference], axes, look, edge=edge, scale=scale, far=reach)
        if len(traces) > 1:
            axes.legend(loc="upper right" if edge == "attack" else "lower right")
    return axes


def _gain_limits(timing: Table, traces: Traces, edge: Edge, steps: list[int]) -> tuple[float, float]:
    """Lowest and highest gain (dB) of a panel: what the gain does away from the edge, with some room.

    Within some periods of the carrier from the edge the path's own ringing can reach far beyond.
    """
    low, high = np.inf, -np.inf
    for step in steps:
        time_s, gain_db = traces[step]
        away = _away(timing, time_s, step)
        past = np.nan_to_num(numbers(timing, "attack_overshoot_db")[step]) if edge == "attack" else 0.0
        kept = gain_db[away] if away.any() else gain_db
        low, high = min(low, float(kept.min()) - past), max(high, float(kept.max()))
    if not steps:
        return -1.0, 1.0
    room = max(0.12 * (high - low), LEAST_SPAN_DB / 2 - (high - low) / 2)
    return low - room, high + room


def _away(timing: Table, time_s: Array, step: int) -> NDArray[np.bool_]:
    """Which times lie some periods of the carrier from the edge, where the path no longer rings."""
    return np.asarray(np.abs(time_s) >= RINGING_PERIODS / numbers(timing, "carrier_hz")[step])


def _drawn(steps: list[int], reference: int) -> list[int]:
    """Thin out conditions to `MOST_STEPS`, the reference among them."""
    kept = steps[:MOST_STEPS]
    return kept if reference in kept or reference not in steps else [*kept[:-1], reference]


def step_name(timing: Table, step: int) -> str:
    """Return a burst condition in words: its levels, and its hold where conditions differ by it."""
    low, high = numbers(timing, "from_dbfs")[step], numbers(timing, "to_dbfs")[step]
    name = f"{number_text(low, 0)} to {number_text(high, 0)} dBFS"
    holds = numbers(timing, "hold_s")
    return f"{name} for {rounded_text(holds[step])} s" if np.unique(holds).size > 1 else name


def _known_times(timing: Table, traces: Traces, edge: str, point: str) -> list[float]:
    """Times (s) of a named point, of the conditions that have one."""
    times = numbers(timing, f"{edge}_{point}_s")[list(traces)]
    return [time for time in times.tolist() if np.isfinite(time) and time > 0]


def _reach(timing: Table, traces: Traces, edge: str) -> float:
    """Seconds a linear panel reaches: some t90 of the slowest condition, and no farther than the traces."""
    longest = max((float(time_s.max()) for time_s, _ in traces.values()), default=1.0)
    known = _known_times(timing, traces, edge, "t90")
    return min(longest, SHOWN_T90[edge] * max(known)) if known else longest


def _mark_times(
    times: Mapping[str, float],
    trace: tuple[Array, Array],
    axes: Axes,
    look: Look,
    *,
    edge: Edge,
    scale: float,
    far: float,
) -> None:
    """Mark published times of a condition on its curve and write them beside it; set the limits before."""
    time_s, gain_db = trace
    font_px = look.frame.font_pt / 72 * axes.figure.dpi
    last: tuple[float, float] | None = None  # where the words of the time after this one are, in letters
    for point, marker in reversed(list(zip(MARKED, ("o", "s", "D"), strict=True))):
        if point not in times:
            continue
        when = times[point]
        height = float(np.interp(when, time_s, gain_db))
        axes.plot(
            [when * scale],
            [height],
            marker,
            color=look.palette.ink,
            fillstyle="none",
            markersize=look.frame.marker_pt * 1.3,
            markeredgewidth=look.frame.line_pt * 0.6,
        )
        late = when > far * EDGE_SHARE  # the words would leave the panel
        side = 1.0 if (edge == "attack") != late else -1.0  # where the curve is not
        x, y = axes.transData.transform((when * scale, height)) / font_px
        beside = BESIDE
        if not late:
            if last is not None and abs(x - last[0]) < WIDE:  # earlier words go beyond the later ones
                beside = max(beside, side * (last[1] - y) + LINE)
            last = x, y + side * beside
        axes.annotate(
            f"{point}  {edited_number(when, 's')}",
            (when * scale, height),
            xytext=(-1.0 if late else 1.0, side * beside),
            textcoords="offset fontsize",
            va="bottom" if side > 0 else "top",
            ha="right" if late else "left",
            bbox={"facecolor": look.palette.paper, "edgecolor": "none", "alpha": 0.8, "pad": 1.0},
        )


def _log_axis(timing: Table, traces: Traces, axes: Axes, edge: Edge, scale: float) -> None:
    times = np.concatenate([time_s for time_s, _ in traces.values()])
    t50, t90 = (_known_times(timing, traces, edge, point) for point in ("t50", "t90"))
    first = max(float(times[times > 0].min()), min(t50, default=0.0) / 30)
    last = min(float(times.max()), LOG_REACH_T90 * max(t90, default=np.inf))
    log_time_axis(axes, first=first * scale, last=2.5 * last * scale)
