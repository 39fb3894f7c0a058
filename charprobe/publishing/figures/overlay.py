"""All settings in one figure: static curves, attack and release, distortion, response."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from matplotlib.axes import Axes

from charprobe.profile.profile import Profile
from charprobe.publishing.figures.look.axes import (
    frequency_axis,
    frequency_words,
    least_span,
    log_time_axis,
    one_scale_name,
)
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.labels import in_two_lines
from charprobe.publishing.figures.look.source import in_words
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel
from charprobe.publishing.figures.points import (
    change_done,
    harmonic_points,
    has_curve,
    has_reduction,
    middle_hz,
    response_points,
    static_points,
)
from charprobe.publishing.figures.response import LEAST_SPAN_DB
from charprobe.publishing.figures.static import anchor
from charprobe.values.arrays import Array
from charprobe.values.edge import Edge
from charprobe.values.wording import literal

NAME_WIDTH = 20
MOST_NAMED = 6
EDGES: tuple[tuple[Edge, str], ...] = (("attack", "rising"), ("release", "falling"))
OWN = "Every setting's own conditions are with its figures."


@dataclass(frozen=True)
class Member:
    """One profile of a set, its name, and its place there, which gives it its colour in every overlay."""

    profile: Profile
    name: str
    index: int


def members(profiles: Sequence[Profile], names: Sequence[str]) -> list[Member]:
    """Number the profiles of a set."""
    return [Member(*pair, index) for index, pair in enumerate(zip(profiles, names, strict=True))]


@dataclass(frozen=True)
class Panel:
    """A panel of an overlay: heading, axes, the points of a profile in it, and what else its axes need.

    `log` tells whether it goes over a logarithmic axis, `marked` whether points carry markers.
    """

    title: str
    across: str
    up: str
    points: Callable[[Profile], tuple[Array, Array]]
    dress: Callable[[Axes, Sequence[Profile], Look], None] = lambda axes, profiles, look: None
    log: bool = False
    marked: bool = False


@dataclass(frozen=True)
class Overlay:
    """A kind of overlay: whose curves it holds, how many make one, its panels, what is said of it.

    `shared` names the quantity whose common conditions stand at the foot, "" where there are none;
    `one_scale` gives all panels the same axes.
    """

    name: str
    title: str
    fewest: int
    has: Callable[[Profile], bool]
    panels: tuple[Panel, ...]
    shows: str
    spoken: tuple[str, ...]
    shared: str
    one_scale: bool = False

    def shown(self, every: Sequence[Member]) -> list[Member]:
        """Return the members that have its curves."""
        return [one for one in every if self.has(one.profile)]


def draw_overlay(overlay: Overlay, every: Sequence[Member], look: Look) -> Drawing:
    """Draw the curves of all members that have them; the others are named below the title."""
    shown = overlay.shown(every)
    there = {member.index for member in shown}
    missing = [literal(one.name) for one in every if one.index not in there]
    named = ", ".join(missing) if len(missing) <= MOST_NAMED else f"{len(missing)} settings"
    drawing = composed(
        overlay.name,
        look.wide(),
        [partial(_plot, one, shown) for one in overlay.panels],
        title=overlay.title,
        main=f"no curve: {named}" if missing else "",
        conditions=_shared(shown, overlay.shared) if overlay.shared else OWN,
        alt=f"{overlay.shows}. {_words(shown, *overlay.spoken)}.",
    )
    if overlay.one_scale:
        _one_scale(drawing.figure.axes)
    return drawing


def _one_scale(panels: Sequence[Axes]) -> None:
    """Give panels of one kind the same axes, named once."""
    ends = [end for axes in panels for end in axes.dataLim.intervaly if np.isfinite(end)]
    across = [end for axes in panels if axes.lines for end in axes.get_xlim()] or [0.0, 1.0]
    for axes in panels:
        axes.set_ylim(min(ends, default=-100.0) - 5, max(ends, default=-40.0) + 5)
        axes.set_xlim(min(across), max(across))
    one_scale_name(panels)


def _plot(one: Panel, shown: Sequence[Member], ax: Axes | None, *, look: Look) -> Axes:
    """Plot the curves of some members into a panel."""
    with panel(ax, look) as axes:
        axes.set(title=one.title, xlabel=one.across, ylabel=one.up)
        for member in shown:
            across, up = one.points(member.profile)
            if not np.isfinite(up).any():
                continue
            style = look.series(member.index) | {"label": in_two_lines(member.name, NAME_WIDTH)}
            axes.plot(across, up, **(style if one.marked else style | {"marker": ""}))
        one.dress(axes, [member.profile for member in shown], look)
        if axes.get_legend_handles_labels()[1]:
            axes.legend()
        elif shown:
            axes.text(
                0.5,
                0.5,
                "none above the noise",
                transform=axes.transAxes,
                ha="center",
                color=look.palette.soft,
            )
    return axes


def plot_static_overlay(
    profiles: Sequence[Profile], names: Sequence[str], ax: Axes | None = None, *, look: Look = ARTICLE_LOOK
) -> Axes:
    """Plot output against input level (both dBFS) of every profile; `names` label them."""
    return _plot(STATIC.panels[0], STATIC.shown(members(profiles, names)), ax, look=look)


def plot_anchored_overlay(
    profiles: Sequence[Profile], names: Sequence[str], ax: Axes | None = None, *, look: Look = ARTICLE_LOOK
) -> Axes:
    """Plot gain less the low-level gain (dB) against input level (dBFS) of every profile."""
    return _plot(STATIC.panels[1], STATIC.shown(members(profiles, names)), ax, look=look)


def plot_timing_overlay(
    profiles: Sequence[Profile],
    names: Sequence[str],
    ax: Axes | None = None,
    *,
    edge: Edge = "attack",
    look: Look = ARTICLE_LOOK,
) -> Axes:
    """Plot how much of the gain change is done after an edge (%) over logarithmic time (ms)."""
    own = TIMING.panels[0 if edge == "attack" else 1]
    return _plot(own, TIMING.shown(members(profiles, names)), ax, look=look)


def _anchored(profile: Profile) -> tuple[Array, Array]:
    level, gain = static_points(profile, "gain_db")
    return level, gain - anchor(profile)


def _unity(axes: Axes, _: Sequence[Profile], look: Look) -> None:
    axes.axline((-60, -60), slope=1, color=look.palette.soft, linewidth=look.frame.line_pt / 2)


def _change_ms(profile: Profile, *, edge: Edge) -> tuple[Array, Array]:
    time_s, share = change_done(profile, edge)
    return 1e3 * time_s, share


def _time_axis(axes: Axes, profiles: Sequence[Profile], _: Look, *, edge: Edge) -> None:
    """From well before the first t50 to well behind the last t90."""
    first, last = [], []
    for profile in profiles:
        time_s, _share = change_done(profile, edge)
        if not time_s.size:
            continue
        t50, t90 = (profile.measured(f"{edge}.{point}") for point in ("t50", "t90"))
        first.append(t50.value / 20 if t50 else float(time_s.min()))
        last.append(t90.value * 4 if t90 else float(time_s.max()))
    if first:
        log_time_axis(axes, first=max(1e-5, min(first)) * 1e3, last=max(last) * 1e3)
    axes.set_ylim(-5, 112)


def _has_harmonics(profile: Profile) -> bool:
    """Whether distortion exceeds its limit at several levels near 1 kHz: one is no curve."""
    return has_curve(profile, "harmonics") and np.isfinite(harmonic_points(profile, "thd_dbc")[1]).sum() > 1


def _tone(axes: Axes, profiles: Sequence[Profile], _: Look) -> None:
    if profiles:
        axes.set_title(f"{axes.get_title(loc='left')}, {frequency_words(middle_hz(profiles[-1]))}")


def _response_axes(axes: Axes, _: Sequence[Profile], __: Look) -> None:
    frequency_axis(axes)
    least_span(axes, LEAST_SPAN_DB)


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


STATIC = Overlay(
    "static-overlay",
    "Static curves",
    2,
    partial(has_curve, curve="static"),
    (
        Panel(
            "As they are", "input level (dBFS)", "output level (dBFS)",
            partial(static_points, column="output_dbfs"), _unity,
        ),
        Panel("Anchored at low level", "input level (dBFS)", "gain re low level (dB)", _anchored),
    ),
    "Two panels with one curve per setting: output level, and gain less the low-level gain",
    ("static.threshold", "static.ratio"),
    "static.threshold",
)  # fmt: skip
TIMING = Overlay(
    "timing-overlay",
    "Attack and release",
    2,
    lambda profile: has_curve(profile, "gain_trace") and has_reduction(profile),
    tuple(
        Panel(
            edge.capitalize(), f"time from the {word} edge (ms)", "gain change done (%)",
            partial(_change_ms, edge=edge), partial(_time_axis, edge=edge), log=True,
        )
        for edge, word in EDGES
    ),
    "Two panels with one curve per setting: share of the gain change after each edge",
    ("attack.t63", "release.t63"),
    "release.t63",
)  # fmt: skip
HARMONICS = Overlay(
    "harmonics-overlay",
    "Harmonics against level",
    1,
    _has_harmonics,
    tuple(
        Panel(
            word, "input level (dBFS)", "level re fundamental (dBc)",
            partial(harmonic_points, column=f"{word.lower()}_dbc"), _tone, marked=True,
        )
        for word in ("THD", "H2", "H3")
    ),
    "Three panels with one curve per setting: THD, second and third harmonic over the fundamental",
    ("colour.thd_at_reference", "colour.onset"),
    "",
    one_scale=True,
)  # fmt: skip
RESPONSE = Overlay(
    "response-overlay",
    "Response",
    2,
    partial(has_curve, curve="response"),
    (Panel("", "frequency (Hz)", "gain re 1 kHz (dB)", response_points, _response_axes, log=True),),
    "One curve per setting: gain over frequency",
    ("response.tilt",),
    "response.tilt",
)
OVERLAYS = (STATIC, TIMING, HARMONICS, RESPONSE)
"""In the order of the page."""
