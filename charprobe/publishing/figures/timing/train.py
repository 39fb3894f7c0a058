"""Pumping: the gain through a train of bursts at a steady pace."""

from __future__ import annotations

from functools import partial

import numpy as np
from matplotlib.axes import Axes

from charprobe.profile.entry import numbers, rows_of
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.look.axes import least_span
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.source import conditions, curve_of, in_words, who
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel

LEAST_SPAN_DB = 4.0
BEYOND = 1.5  # the axis reaches so many of the last bursts' spacings beyond the last one


def draw_train(profile: Profile, look: Look) -> Drawing:
    """Draw the gain against time; the profile must have "burst_train" and "burst_train_trace"."""
    swing, kept = (in_words(profile, f"release.train_{name}") for name in ("swing", "held"))
    main = f"swing {swing}, held through pauses {kept}; grey: bursts"
    count = rows_of(profile.curves["burst_train"])
    return composed(
        "train",
        look,
        [partial(plot_burst_train, profile)],
        title=f"Gain through a train of bursts – {who(profile)}",
        main=main,
        conditions=conditions(profile, ["release.train_swing"]),
        alt=f"Gain against time through {count} bursts, falling in each and recovering between; {main}.",
    )


def plot_burst_train(profile: Profile, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot the gain (dB) against time from the first burst (ms), bursts shaded."""
    trace, train = curve_of(profile, "burst_train_trace"), curve_of(profile, "burst_train")
    time_ms, gain_db = 1e3 * numbers(trace, "time_s"), numbers(trace, "gain_db")
    start_ms, end_ms = 1e3 * numbers(train, "start_s"), 1e3 * numbers(train, "stop_s")
    with panel(ax, look) as axes:
        for first, last in zip(start_ms, end_ms, strict=True):
            axes.axvspan(first, last, color=look.palette.grid, linewidth=0)
        axes.plot(time_ms, gain_db, **(look.series(0) | {"marker": None}), label="gain")
        dots = {"linestyle": "none"}
        axes.plot(start_ms, numbers(train, "before_db"), **(look.series(1) | dots), label="before a burst")
        axes.plot(end_ms, numbers(train, "end_db"), **(look.series(2) | dots), label="at its end")
        spacing = float(np.median(np.diff(start_ms)))
        axes.set_xlim(-spacing, end_ms[-1] + BEYOND * spacing)
        least_span(axes, LEAST_SPAN_DB)
        axes.set(xlabel="time from the first burst (ms)", ylabel="gain (dB)")
        axes.legend(loc="upper right")
    return axes
