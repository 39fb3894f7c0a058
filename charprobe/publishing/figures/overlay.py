"""Several settings in one figure: static curves laid over each other, attacks and releases side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from charprobe.profile.burst_traces import edge_trace, reference_step
from charprobe.profile.entry import flags, numbers
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.look.axes import drop_legend, log_time_axis
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.labels import EndLabel, in_two_lines, label_ends
from charprobe.publishing.figures.look.source import in_words
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel
from charprobe.publishing.figures.static import anchor
from charprobe.publishing.figures.timing.gain_trace import steps_of
from charprobe.values.edge import Edge
from charprobe.values.wording import literal

MOST = 8  # curves that can be told apart in one figure
LEAST_REDUCTION_DB = 1.0
LABEL_ROOM = 0.785  # share of the width that the panels take, names to their right
LABEL_WIDTH = 14


def draw_static_overlay(profiles: Sequence[Profile], names: Sequence[str], look: Look) -> Drawing:
    """Draw the static curves of up to `MOST` profiles, as they are and anchored; `names` label them."""
    shown = _with_static(profiles, names)
    words = _words(shown, "static.threshold", "static.ratio")
    return composed(
        "static-overlay",
        look,
        [partial(plot_static_overlay, profiles, names), partial(plot_anchored_overlay, profiles, names)],
        title="Static curves laid over each other",
        main=_dropped(profiles, shown),
        conditions=_footer(shown, "static.threshold"),
        alt="Two panels with one curve per setting: output level, and gain less the low-level gain. "
        f"{words}.",
        right=LABEL_ROOM,
    )


def plot_static_overlay(
    profiles: Sequence[Profile], names: Sequence[str], ax: Axes | None = None, *, look: Look = ARTICLE_LOOK
) -> Axes:
    """Plot output against input level (both dBFS) of up to `MOST` profiles; `names` label them."""
    with panel(ax, look) as axes:
        for member in _with_static(profiles, names):
            order, style = _settled(member, look)
            level, out = (
                numbers(member.profile.curves["static"], f"{end}_dbfs") for end in ("input", "output")
            )
            axes.plot(level[order], out[order], label=member.name, **style)
        axes.axline((-60, -60), slope=1, color=look.palette.soft, linewidth=look.frame.line_pt / 2)
        axes.set(title="As they are", xlabel="input level (dBFS)", ylabel="output level (dBFS)")
    return axes


def plot_anchored_overlay(
    profiles: Sequence[Profile], names: Sequence[str], ax: Axes | None = None, *, look: Look = ARTICLE_LOOK
) -> Axes:
    """Plot gain less the low-level gain (dB) against input level (dBFS), each curve named at its end."""
    ends = []
    with panel(ax, look) as axes:
        for member in _with_static(profiles, names):
            order, style = _settled(member, look)
            table = member.profile.curves["static"]
            gain = numbers(table, "gain_db")[order] - anchor(member.profile)
            axes.plot(numbers(table, "input_dbfs")[order], gain, label=member.name, **style)
            ends.append(EndLabel(member.name, float(gain[-1]), style["color"]))
        axes.set(title="Anchored at low level", xlabel="input level (dBFS)", ylabel="gain re low level (dB)")
        label_ends(axes, ends, look, width=LABEL_WIDTH)
    return axes


def _settled(member: _Member, look: Look) -> tuple[NDArray[np.intp], dict[str, Any]]:
    """Return the rows of a static curve that count, by level, and the style of their line."""
    table = member.profile.curves["static"]
    keep = np.flatnonzero(flags(table, "used", missing=True))
    order = keep[np.argsort(numbers(table, "input_dbfs")[keep], kind="stable")]
    return order, look.series(member.index) | {"markevery": (member.index % 4, 4)}


def draw_timing_overlay(profiles: Sequence[Profile], names: Sequence[str], look: Look) -> Drawing:
    """Draw attack and release of up to `MOST` profiles as shares of the gain change; `names` label them."""
    shown = _with_times(profiles, names)
    words = _words(shown, "attack.t63", "release.t63")
    drawing = composed(
        "timing-overlay",
        look,
        [partial(plot_timing_overlay, profiles, names, edge=edge) for edge in ("attack", "release")],
        title="Attack and release laid over each other",
        main=_dropped(profiles, shown),
        conditions=_footer(shown, "release.t63"),
        alt=f"Two panels with one curve per setting: share of the gain change after each edge. {words}.",
        right=LABEL_ROOM,
    )
    drop_legend(drawing.figure.axes[0])  # the second one's names both
    return drawing


def plot_timing_overlay(
    profiles: Sequence[Profile],
    names: Sequence[str],
    ax: Axes | None = None,
    *,
    edge: Edge = "attack",
    look: Look = ARTICLE_LOOK,
) -> Axes:
    """Plot how much of the gain change is done after an edge (%) over logarithmic time (ms)."""
    with panel(ax, look) as axes:
        _plot_shares(_with_times(profiles, names), axes, look, edge=edge)
        axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.03), handlelength=1.7)
    return axes


def _plot_shares(shown: Sequence[_Member], axes: Axes, look: Look, *, edge: Edge) -> None:
    first, last = [], []
    for member in shown:
        profile, name, index = member.profile, member.name, member.index
        trace = profile.curves["gain_trace"]
        step = reference_step(profile)
        if step not in steps_of(trace, edge):
            continue
        time_s, gain_db = edge_trace(trace, edge, step)
        t50, t90 = profile.measured(f"{edge}.t50"), profile.measured(f"{edge}.t90")
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


def _with_static(profiles: Sequence[Profile], names: Sequence[str]) -> list[_Member]:
    return [one for one in _members(profiles, names) if "static" in one.profile.curves][:MOST]


def _members(profiles: Sequence[Profile], names: Sequence[str]) -> list[_Member]:
    return [_Member(*pair, index) for index, pair in enumerate(zip(profiles, names, strict=True))]


def _with_times(profiles: Sequence[Profile], names: Sequence[str]) -> list[_Member]:
    members = _members(profiles, names)
    return [one for one in members if "gain_trace" in one.profile.curves and has_reduction(one.profile)][
        :MOST
    ]


def _words(shown: Sequence[_Member], *quantities: str) -> str:
    """Return the main numbers of every setting drawn."""
    spoken = {name: name.removeprefix("static.").replace(".", " ") for name in quantities}
    return "; ".join(
        f"{literal(one.name)}: "
        + ", ".join(f"{word} {in_words(one.profile, name)}" for name, word in spoken.items())
        for one in shown
    )


def _dropped(profiles: Sequence[Profile], shown: Sequence[_Member]) -> str:
    if len(shown) == len(profiles):
        return f"{len(shown)} curves"
    return f"{len(shown)} of {len(profiles)}; the others have nothing to show here or no room"


def _footer(shown: Sequence[_Member], name: str) -> str:
    entries = [member.profile.quantities.get(name) for member in shown]
    stated = list(dict.fromkeys(entry.clauses[0] for entry in entries if entry and entry.clauses))
    if not stated:
        return "Conditions: every setting's own are with its figures."
    more = f" and {len(stated) - 2} more" if len(stated) > 2 else ""
    return f"Conditions: {'; '.join(stated[:2])}{more}. Every setting's own are with its figures."
