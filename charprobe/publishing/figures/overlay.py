"""All settings in one figure: static curves, attack and release, distortion, response."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from charprobe.profile.burst_traces import edge_trace, reference_step
from charprobe.profile.entry import flags, numbers, rows_of
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.look.axes import (
    frequency_axis,
    frequency_words,
    least_span,
    log_time_axis,
)
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.labels import in_two_lines
from charprobe.publishing.figures.look.source import in_words
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel
from charprobe.publishing.figures.response import LEAST_SPAN_DB
from charprobe.publishing.figures.static import anchor
from charprobe.publishing.figures.timing.gain_trace import steps_of
from charprobe.values.arrays import Array
from charprobe.values.edge import Edge
from charprobe.values.wording import literal

LEAST_REDUCTION_DB = 1.0
NAME_WIDTH = 20
MOST_NAMED = 6
MIDDLE_HZ = 1000.0
OWN = "Every setting's own conditions are with its figures."
HARMONICS = (("THD", "thd_dbc"), ("H2", "h2_dbc"), ("H3", "h3_dbc"))


@dataclass(frozen=True)
class Member:
    """One profile of a set, its name, and its place there, which gives it its colour in every overlay."""

    profile: Profile
    name: str
    index: int


def members(profiles: Sequence[Profile], names: Sequence[str]) -> list[Member]:
    """Number the profiles of a set."""
    return [Member(*pair, index) for index, pair in enumerate(zip(profiles, names, strict=True))]


def draw_static_overlay(profiles: Sequence[Profile], names: Sequence[str], look: Look) -> Drawing:
    """Draw the static curves of all profiles, as they are and anchored; `names` label them."""
    shown = with_static(members(profiles, names))
    return _composed(
        "static-overlay",
        look,
        [partial(plot_static_overlay, profiles, names), partial(plot_anchored_overlay, profiles, names)],
        title="Static curves",
        shown=shown,
        every=names,
        footer=_shared(shown, "static.threshold"),
        alt="Two panels with one curve per setting: output level, and gain less the low-level gain. "
        f"{_words(shown, 'static.threshold', 'static.ratio')}.",
    )


def plot_static_overlay(
    profiles: Sequence[Profile], names: Sequence[str], ax: Axes | None = None, *, look: Look = ARTICLE_LOOK
) -> Axes:
    """Plot output against input level (both dBFS) of every profile; `names` label them."""
    with panel(ax, look) as axes:
        for member in with_static(members(profiles, names)):
            level, out = static_points(member.profile, "output_dbfs")
            axes.plot(level, out, **_line(member, look))
        axes.axline((-60, -60), slope=1, color=look.palette.soft, linewidth=look.frame.line_pt / 2)
        axes.set(title="As they are", xlabel="input level (dBFS)", ylabel="output level (dBFS)")
        _put_names(axes)
    return axes


def plot_anchored_overlay(
    profiles: Sequence[Profile], names: Sequence[str], ax: Axes | None = None, *, look: Look = ARTICLE_LOOK
) -> Axes:
    """Plot gain less the low-level gain (dB) against input level (dBFS) of every profile."""
    with panel(ax, look) as axes:
        for member in with_static(members(profiles, names)):
            level, gain = static_points(member.profile, "gain_db")
            axes.plot(level, gain - anchor(member.profile), **_line(member, look))
        axes.set(title="Anchored at low level", xlabel="input level (dBFS)", ylabel="gain re low level (dB)")
        _put_names(axes)
    return axes


def with_static(every: Sequence[Member]) -> list[Member]:
    """Return the members that have a static curve."""
    return [one for one in every if _has(one.profile, "static")]


def static_points(profile: Profile, column: str) -> tuple[Array, Array]:
    """Return input levels and a column of the static curve at the points that count, by level."""
    table = profile.curves["static"]
    keep = np.flatnonzero(flags(table, "used", missing=True))
    order = keep[np.argsort(numbers(table, "input_dbfs")[keep], kind="stable")]
    return numbers(table, "input_dbfs")[order], numbers(table, column)[order]


def draw_timing_overlay(profiles: Sequence[Profile], names: Sequence[str], look: Look) -> Drawing:
    """Draw attack and release of all profiles as shares of the gain change; `names` label them."""
    shown = with_times(members(profiles, names))
    return _composed(
        "timing-overlay",
        look,
        [partial(plot_timing_overlay, profiles, names, edge=edge) for edge in ("attack", "release")],
        title="Attack and release",
        shown=shown,
        every=names,
        footer=_shared(shown, "release.t63"),
        alt="Two panels with one curve per setting: share of the gain change after each edge. "
        f"{_words(shown, 'attack.t63', 'release.t63')}.",
    )


def plot_timing_overlay(
    profiles: Sequence[Profile],
    names: Sequence[str],
    ax: Axes | None = None,
    *,
    edge: Edge = "attack",
    look: Look = ARTICLE_LOOK,
) -> Axes:
    """Plot how much of the gain change is done after an edge (%) over logarithmic time (ms)."""
    first, last = [], []
    with panel(ax, look) as axes:
        for member in with_times(members(profiles, names)):
            time_s, share = change_done(member.profile, edge)
            if not time_s.size:
                continue
            axes.plot(time_s * 1e3, share, **_line(member, look))
            t50, t90 = (member.profile.measured(f"{edge}.{point}") for point in ("t50", "t90"))
            first.append(t50.value / 20 if t50 else float(time_s.min()))
            last.append(t90.value * 4 if t90 else float(time_s.max()))
        if first:
            log_time_axis(axes, first=max(1e-5, min(first)) * 1e3, last=max(last) * 1e3)
        axes.set_ylim(-5, 112)
        word = "rising" if edge == "attack" else "falling"
        axes.set(title=edge.capitalize(), xlabel=f"time from the {word} edge (ms)")
        axes.set_ylabel("gain change done (%)")
        _put_names(axes)
    return axes


def with_times(every: Sequence[Member]) -> list[Member]:
    """Return the members whose reference burst was reduced."""
    return [one for one in every if _has(one.profile, "gain_trace") and has_reduction(one.profile)]


def change_done(profile: Profile, edge: Edge) -> tuple[Array, Array]:
    """Return times after an edge (s) and how much of the gain change is done (%); empty where none is."""
    trace, step = profile.curves["gain_trace"], reference_step(profile)
    if step not in steps_of(trace, edge):
        return np.zeros(0), np.zeros(0)
    time_s, gain_db = edge_trace(trace, edge, step)
    before, after = time_s <= 0, time_s > 0
    start = float(np.median(gain_db[before])) if before.any() else float(gain_db[0])
    stop = _settled_after(profile, edge)
    if start == stop or not after.any():
        return np.zeros(0), np.zeros(0)
    return time_s[after], 100 * (gain_db[after] - start) / (stop - start)


def has_reduction(profile: Profile) -> bool:
    """Tell whether a profile's reference burst was reduced by `LEAST_REDUCTION_DB`, so that it has times."""
    if not _has(profile, "timing") or not profile.curves["timing"].columns["reduction_db"]:
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


def draw_harmonics_overlay(profiles: Sequence[Profile], names: Sequence[str], look: Look) -> Drawing:
    """Draw THD and the second and third harmonic near 1 kHz of all profiles against input level."""
    shown = with_harmonics(members(profiles, names))
    drawing = _composed(
        "harmonics-overlay",
        look,
        [partial(plot_harmonic_overlay, profiles, names, column=column) for _, column in HARMONICS],
        title="Harmonics against level",
        shown=shown,
        every=names,
        footer=OWN,
        alt="Three panels with one curve per setting: THD, second and third harmonic over the fundamental. "
        f"{_words(shown, 'colour.thd_at_reference', 'colour.onset')}.",
    )
    panels = drawing.figure.axes
    ends = [end for axes in panels for end in axes.dataLim.intervaly if np.isfinite(end)]
    across = [end for axes in panels for end in axes.get_xlim()]
    for axes in panels:
        axes.set_ylim(min(ends, default=-100.0) - 5, max(ends, default=-40.0) + 5)
        axes.set_xlim(min(across), max(across))
    for axes in panels[1:]:
        axes.set_ylabel("")
        axes.tick_params(labelleft=False)
    return drawing


def plot_harmonic_overlay(
    profiles: Sequence[Profile],
    names: Sequence[str],
    ax: Axes | None = None,
    *,
    column: str = "thd_dbc",
    look: Look = ARTICLE_LOOK,
) -> Axes:
    """Plot one column of "harmonics" near 1 kHz (dBc) against input level (dBFS) of every profile."""
    tone = ""
    with panel(ax, look) as axes:
        for member in with_harmonics(members(profiles, names)):
            level, height, hz = harmonic_points(member.profile, column)
            marker = {"marker": look.series(member.index)["marker"]}
            axes.plot(level, height, **(_line(member, look) | marker))
            tone = f", {frequency_words(hz)}"
        word = next(word for word, name in HARMONICS if name == column)
        axes.set(title=f"{word}{tone}", xlabel="input level (dBFS)", ylabel="level re fundamental (dBc)")
        _put_names(axes)
    return axes


def with_harmonics(every: Sequence[Member]) -> list[Member]:
    """Return the members with distortion above the limit at several levels near 1 kHz: one is no curve."""
    return [
        one
        for one in every
        if _has(one.profile, "harmonics")
        and np.isfinite(harmonic_points(one.profile, "thd_dbc")[1]).sum() > 1
    ]


def harmonic_points(profile: Profile, column: str) -> tuple[Array, Array, float]:
    """Return levels, a column of "harmonics" and the tone it is of: the one nearest 1 kHz."""
    table = profile.curves["harmonics"]
    hz = numbers(table, "frequency_hz")
    tone = float(hz[np.argmin(np.abs(np.log(hz / MIDDLE_HZ)))])
    chosen = np.flatnonzero(hz == tone)
    level = numbers(table, "input_dbfs")[chosen]
    order = np.argsort(level, kind="stable")
    return level[order], numbers(table, column)[chosen][order], tone


def draw_response_overlay(profiles: Sequence[Profile], names: Sequence[str], look: Look) -> Drawing:
    """Draw the responses of all profiles at their lowest drive."""
    shown = with_response(members(profiles, names))
    return _composed(
        "response-overlay",
        look,
        [partial(plot_response_overlay, profiles, names)],
        title="Response",
        shown=shown,
        every=names,
        footer=_shared(shown, "response.tilt"),
        alt=f"One curve per setting: gain over frequency. {_words(shown, 'response.tilt')}.",
    )


def plot_response_overlay(
    profiles: Sequence[Profile], names: Sequence[str], ax: Axes | None = None, *, look: Look = ARTICLE_LOOK
) -> Axes:
    """Plot gain less that at 1 kHz (dB) over frequency (Hz) of every profile at its lowest drive."""
    with panel(ax, look) as axes:
        for member in with_response(members(profiles, names)):
            hz, level = response_points(member.profile)
            axes.plot(hz, level, **_line(member, look))
        frequency_axis(axes)
        least_span(axes, LEAST_SPAN_DB)
        axes.set_ylabel("gain re 1 kHz (dB)")
        _put_names(axes)
    return axes


def with_response(every: Sequence[Member]) -> list[Member]:
    """Return the members with a response."""
    return [one for one in every if _has(one.profile, "response")]


def response_points(profile: Profile) -> tuple[Array, Array]:
    """Return frequencies and the gain at the lowest drive, less its value at 1 kHz."""
    table = profile.curves["response"]
    drive = numbers(table, "drive_dbfs")
    lowest = np.flatnonzero(drive == np.nanmin(drive))
    hz, level = numbers(table, "frequency_hz")[lowest], numbers(table, "magnitude_db")[lowest]
    order = np.argsort(hz, kind="stable")
    return hz[order], level[order] - float(np.interp(MIDDLE_HZ, hz[order], level[order]))


def _line(member: Member, look: Look) -> dict[str, Any]:
    style = look.series(member.index)
    return style | {"marker": "", "label": in_two_lines(member.name, NAME_WIDTH)}


def _put_names(axes: Axes) -> None:
    if axes.get_legend_handles_labels()[1]:
        axes.legend()


def _composed(
    name: str,
    look: Look,
    plots: Sequence[Callable[..., Axes]],
    *,
    title: str,
    shown: Sequence[Member],
    every: Sequence[str],
    footer: str,
    alt: str,
) -> Drawing:
    """Compose an overlay; settings without a curve are named below the title."""
    there = {member.index for member in shown}
    missing = [literal(one) for index, one in enumerate(every) if index not in there]
    named = ", ".join(missing) if len(missing) <= MOST_NAMED else f"{len(missing)} settings"
    main = f"no curve: {named}" if missing else ""
    return composed(name, look.wide(), plots, title=title, main=main, conditions=footer, alt=alt)


def _has(profile: Profile, curve: str) -> bool:
    return curve in profile.curves and rows_of(profile.curves[curve]) > 0


def _words(shown: Sequence[Member], *quantities: str) -> str:
    """Return the main numbers of every setting drawn."""
    spoken = {name: name.removeprefix("static.").replace(".", " ").replace("_", " ") for name in quantities}
    return "; ".join(
        f"{literal(one.name)}: "
        + ", ".join(f"{word} {in_words(one.profile, name)}" for name, word in spoken.items())
        for one in shown
    )


def _shared(shown: Sequence[Member], name: str) -> str:
    """Return the conditions of a quantity that hold for every setting drawn."""
    entries = [member.profile.quantities.get(name) for member in shown]
    stated = [
        entry.conditions.replace(";", ",").split(",") for entry in entries if entry and entry.conditions
    ]
    parts = [[clause.strip() for clause in clauses] for clauses in stated]
    common = [clause for clause in (parts[0] if parts else []) if all(clause in own for own in parts)]
    return f"{', '.join(common)}. {OWN}" if common else OWN
