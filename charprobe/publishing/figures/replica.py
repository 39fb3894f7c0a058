"""How well the model of a stage runs: measured against predicted gain on programme it never heard."""

from __future__ import annotations

from functools import partial

import numpy as np
from matplotlib.axes import Axes

from charprobe.profile.entry import numbers
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.look.axes import least_span
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.source import conditions, curve_of, in_words, who
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel
from charprobe.values.wording import readable

LEAST_SPAN_DB = 4.0
APART_S = 0.05  # windows farther apart are not joined: between them was no sound to read a gain from


def draw_replica(profile: Profile, look: Look) -> Drawing:
    """Draw both gains against time; the profile must have "replica_gain"."""
    error = readable(profile.quantities["replica.gain_error"].reading).text  # hundredths of a dB count
    main = f"residual {in_words(profile, 'replica.residual')}, gain error {error} rms"
    return composed(
        "replica",
        look,
        [partial(plot_replica, profile)],
        title=f"Measured and predicted gain on programme – {who(profile)}",
        main=main,
        conditions=conditions(profile, ["replica.residual"]),
        alt=f"Gain measured on programme, and gain that the fitted model predicts, against time; {main}.",
    )


def plot_replica(profile: Profile, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot measured and predicted gain (dB) against time from the start of the programme (s)."""
    curve = curve_of(profile, "replica_gain")
    time_s = numbers(curve, "time_s")
    broken = np.concatenate([[False], np.diff(time_s) > APART_S])
    with panel(ax, look) as axes:
        for index, (name, label) in enumerate((("measured_db", "measured"), ("predicted_db", "predicted"))):
            gain_db = np.where(broken, np.nan, numbers(curve, name))
            axes.plot(time_s, gain_db, **(look.series(index) | {"marker": None}), label=label)
        least_span(axes, LEAST_SPAN_DB)
        axes.set(xlabel="time in the programme (s)", ylabel="gain (dB)")
        axes.legend(loc="lower right")
    return axes
