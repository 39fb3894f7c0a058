"""Several settings in one figure: static curves laid over each other, attacks and releases side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from charprobe.profile.burst_traces import edge_trace, reference_step
from charprobe.profile.entry import flags, numbers
from charprobe.profile.profile import Profile, measured
from charprobe.publishing.figures.axes import log_time_axis
from charprobe.publishing.figures.drawing import Drawing
from charprobe.publishing.figures.gain_trace import steps_of
from charprobe.publishing.figures.labels import EndLabel, in_two_lines, label_ends
from charprobe.publishing.figures.source import in_words
from charprobe.publishing.figures.static import anchor
from charprobe.publishing.figures.style import Look, new_figure, settings
from charprobe.publishing.figures.text import put_title_and_footer
from charprobe.values.edge import Edge
from charprobe.values.wording import literal

MOST = 8  # curves that can be told apart in one figure
LEAST_REDUCTION_DB = 1.0
LABEL_ROOM = 0.785  # share of the width that the panels take, names to their right
LABEL_WIDTH = 14


def draw_static_overlay(profiles: Sequence[Profile], names: Sequence[str], look: Look) -> Drawing:
    """Draw the static curves of up to `MOST` profiles, as they are and anchored; `names` label them."""
    shown = _with_curve(profiles, names, "static")[:MOST]
    with settings(look):
        figure, (left, right) = new_figure(look, panels=2)
        figure.subplots_adjust(right=LABEL_ROOM)
        ends = []
        for member in shown:
            profile, name, index = member.profile, member.name, member.index
            table = profile.curves["static"]
            keep = np.flatnonzero(flags(table, "used", missing=True))
            level = numbers(table, "input_dbfs")[keep]
            order = keep[np.argsort(level, kind="stable")]
            gain = numbers(table, "gain_db")[order]
            gain -= anchor(table, measured(profile, "static.low_level_gain"))
            style = look.series(index) | {"markevery": (index % 4, 4)}
            left.plot(numbers(table, "input_dbfs")[order], numbers(table, "output_dbfs")[order], **style)
            right.plot(numbers(table, "input_dbfs")[order], gain, label=name, **style)
            ends.append(EndLabel(name, float(gain[-1]), style["color"]))
        left.axline((-60, -60), slope=1, color=look.palette.soft, linewidth=look.frame.line_pt / 2)
        left.set(title="As they are", xlabel="input level (dBFS)", ylabel="output level (dBFS)")
        right.set(title="Anchored at low level", xlabel="input level (dBFS)", ylabel="gain re low level (dB)")
        label_ends(right, ends, look, width=LABEL_WIDTH)
        title = "Static curves laid over each other"
        foot = _footer(shown, "static.threshold")
        put_title_and_footer(figure, look.frame, title=title, subtitle=_dropped(profiles, shown), footer=foot)
    words = "; ".join(
        f"{literal(one.name)}: threshold {in_words(one.profile, 'static.threshold')}, "
        f"ratio {in_words(one.profile, 'static.ratio')}"
        for one in shown
    )
    alt = f"Two panels with one curve per setting: output level, and gain less the low-level gain. {words}."
    return Drawing(figure, look, "static-overlay", title, alt, foot)


def draw_timing_overlay(profiles: Sequence[Profile], names: Sequence[str], look: Look) -> Drawing:
    """Draw attack and release of up to `MOST` profiles as shares of the gain change; `names` label them."""
    shown = [one for one in _with_curve(profiles, names, "gain_trace") if has_reduction(one.profile)][:MOST]
    with settings(look):
        figure, panels = new_figure(look, panels=2)
        figure.subplots_adjust(right=LABEL_ROOM)
        edges: tuple[Edge, Edge] = ("attack", "release")
        for edge, axes in zip(edges, panels, strict=True):
            _plot_shares(shown, axes, look, edge=edge)
        panels[1].legend(loc="upper left", bbox_to_anchor=(1.0, 1.03), handlelength=1.7)
        title = "Attack and release laid over each other"
        foot = _footer(shown, "release.t63")
        put_title_and_footer(figure, look.frame, title=title, subtitle=_dropped(profiles, shown), footer=foot)
    words = "; ".join(
        f"{literal(one.name)}: attack t63 {in_words(one.profile, 'attack.t63')}, "
        f"release t63 {in_words(one.profile, 'release.t63')}"
        for one in shown
    )
    alt = f"Two panels with one curve per setting: share of the gain change after each edge. {words}."
    return Drawing(figure, look, "timing-overlay", title, alt, foot)


def _plot_shares(shown: Sequence[_Member], axes: Axes, look: Look, *, edge: Edge) -> Axes:
    """Plot how much of the gain change is done after an edge, in percent, over logarithmic time in ms."""
    first, last = [], []
    for member in shown:
        profile, name, index = member.profile, member.name, member.index
        trace = profile.curves["gain_trace"]
        step = reference_step(profile)
        if step not in steps_of(trace, edge):
            continue
        time_s, gain_db = edge_trace(trace, edge, step)
        t50, t90 = measured(profile, f"{edge}.t50"), measured(profile, f"{edge}.t90")
        start = float(np.median(gain_db[time_s <= 0])) if (time_s <= 0).any() else float(gain_db[0])
        stop = _settled_after(profile, edge)
        if start == stop or not (time_s > 0).any():
            continue
        share = 100 * (gain_db - start) / (stop - start)
        after = time_s > 0
        style = look.series(index) | {"markevery": 0.12 + 0.01 * index}
        axes.plot(time_s[after] * 1e3, share[after], label=in_two_lines(name, LABEL_WIDTH), **style)
        first.append(t50.value / 20 if t50 else float(time_s[after].min()))
        last.append(t90.value * 4 if t90 else float(time_s.max()))
    if first:
        log_time_axis(axes, first=max(1e-5, min(first)) * 1e3, last=max(last) * 1e3)
    axes.set_ylim(-5, 112)
    word = "rising" if edge == "attack" else "falling"
    axes.set(title=edge.capitalize(), xlabel=f"time from the {word} edge (ms)", ylabel="gain change done (%)")
    return axes


def has_reduction(profile: Profile) -> bool:
    """Tell whether a profile's reference burst was reduced by `LEAST_REDUCTION_DB`, so that it has times."""
    if "timing" not in profile.curves or not profile.curves["timing"].columns["reduction_db"]:
        return False
    reduction = numbers(profile.curves["timing"], "reduction_db")[reference_step(profile)]
    return bool(np.nan_to_num(reduction) >= LEAST_REDUCTION_DB)


def _settled_after(profile: Profile, edge: Edge) -> float:
    """Return the gain in dB that an edge leads to: after a release, that before the attack."""
    trace = profile.curves["gain_trace"]
    step = reference_step(profile)
    time_s, gain_db = edge_trace(trace, edge, step)
    if edge == "release":
        rest_s, rest_db = edge_trace(trace, "attack", step)
        if (rest_s <= 0).any():
            return float(np.median(rest_db[rest_s <= 0]))
    late = time_s >= 0.9 * time_s.max()
    return float(np.median(gain_db[late]))


@dataclass(frozen=True)
class _Member:
    """One profile of a set, its name, and its place there, which gives it its colour in overlays."""

    profile: Profile
    name: str
    index: int


def _with_curve(profiles: Sequence[Profile], names: Sequence[str], curve: str) -> list[_Member]:
    members = [_Member(*pair, index) for index, pair in enumerate(zip(profiles, names, strict=True))]
    return [member for member in members if curve in member.profile.curves]


def _dropped(profiles: Sequence[Profile], shown: Sequence[_Member]) -> str:
    if len(shown) == len(profiles):
        return f"{len(shown)} curves"
    return f"{len(shown)} of {len(profiles)}; the others have nothing to show here or no room"


def _footer(shown: Sequence[_Member], name: str) -> str:
    entries = [member.profile.quantities.get(name) for member in shown]
    stated = list(
        dict.fromkeys(entry.conditions.split(";")[0] for entry in entries if entry and entry.conditions)
    )
    if not stated:
        return "Conditions: every setting's own are with its figures."
    more = f" and {len(stated) - 2} more" if len(stated) > 2 else ""
    return f"Conditions: {'; '.join(stated[:2])}{more}. Every setting's own are with its figures."
