"""Pumping: the gain through a train of bursts at a steady pace."""

from __future__ import annotations

import numpy as np

from charprobe.profile.entry import numbers
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.axes import least_span
from charprobe.publishing.figures.drawing import Drawing
from charprobe.publishing.figures.source import conditions, in_words, who
from charprobe.publishing.figures.style import Look, new_figure, settings
from charprobe.publishing.figures.text import put_title_and_footer

LEAST_SPAN_DB = 4.0
BEYOND = 1.5  # the axis reaches so many of the last bursts' spacings beyond the last one


def draw_train(profile: Profile, look: Look) -> Drawing:
    """Draw the gain against time; the profile must have "burst_train" and "burst_train_trace"."""
    trace, train = profile.curves["burst_train_trace"], profile.curves["burst_train"]
    time_ms, gain_db = 1e3 * numbers(trace, "time_s"), numbers(trace, "gain_db")
    start_ms, end_ms = 1e3 * numbers(train, "start_s"), 1e3 * numbers(train, "stop_s")
    with settings(look):
        figure, (axes,) = new_figure(look)
        for first, last in zip(start_ms, end_ms, strict=True):
            axes.axvspan(first, last, color=look.palette.grid, linewidth=0)
        axes.plot(time_ms, gain_db, **(look.series(0) | {"marker": None}), label="gain")
        line = look.series(1) | {"linestyle": "none"}
        before_db, after_db = numbers(train, "before_db"), numbers(train, "end_db")
        axes.plot(start_ms, before_db, **line, label="before a burst")
        axes.plot(end_ms, after_db, **(look.series(2) | {"linestyle": "none"}), label="at its end")
        spacing = float(np.median(np.diff(start_ms)))
        axes.set_xlim(-spacing, end_ms[-1] + BEYOND * spacing)
        least_span(axes, LEAST_SPAN_DB)
        axes.set(xlabel="time from the first burst (ms)", ylabel="gain (dB)")
        axes.legend(loc="upper right")
        title = f"Gain through a train of bursts – {who(profile)}"
        swing, kept = (in_words(profile, f"release.train_{name}") for name in ("swing", "held"))
        main = f"swing {swing}, held through pauses {kept}; grey: bursts"
        foot = conditions(profile, ["release.train_swing"])
        put_title_and_footer(figure, look.frame, title=title, subtitle=main, footer=foot)
    alt = f"Gain against time through {start_ms.size} bursts, falling in each and recovering between; {main}."
    return Drawing(figure, look, "train", title, alt, foot)
