"""The transfer curve of a setting, and beside it what it departs from a straight line."""

from __future__ import annotations

from functools import partial

import numpy as np
from matplotlib.axes import Axes

from charprobe.profile.entry import flags, numbers
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.look.axes import frequency_words
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.source import conditions, curve_of, who
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel
from charprobe.values.arrays import Array
from charprobe.values.wording import number_text, rounded_text

FEW = 5  # ticks whose small numbers keep apart


def draw_transfer(profile: Profile, look: Look) -> Drawing:
    """Draw output over input at the drive of one tone; the profile must have the curve "transfer"."""
    table = profile.curves["transfer"]
    tone = (
        f"{frequency_words(float(numbers(table, 'frequency_hz')[0]))} "
        f"at {number_text(float(numbers(table, 'drive_dbfs')[0]), 1)} dBFS"
    )
    most = rounded_text(float(np.max(np.abs(_departure_percent(profile)))))
    main = f"{tone}: up to {most} % off the straight line"
    if flags(table, "memory", missing=False).any():
        main += "; memory shows: not the whole story"
    return composed(
        "transfer",
        look,
        [partial(plot_transfer, profile), partial(plot_transfer_departure, profile)],
        title=f"Transfer curve – {who(profile)}",
        main=main,
        conditions=conditions(profile, []),
        alt=f"Output against input, and its departure from a straight line; {main}.",
        right=0.95,
        wspace=0.32,
    )


def plot_transfer(profile: Profile, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot output against input (full scale = 1), with the straight line of small signals."""
    table = curve_of(profile, "transfer")
    x, y, line = (numbers(table, name) for name in ("input", "output", "line"))
    with panel(ax, look) as axes:
        straight = look.series(1) | {"marker": "", "linestyle": (0, (5, 3))}
        axes.plot(x, line, label="straight line of small signals", **straight)
        axes.plot(x, y, label="transfer", **(look.series(0) | {"marker": ""}))
        axes.legend(loc="upper left")
        axes.set(xlabel="input (FS)", ylabel="output (FS)")
        axes.locator_params(axis="x", nbins=FEW)
    return axes


def plot_transfer_departure(profile: Profile, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot how far the output is off the straight line (% of its peak) against input (full scale = 1)."""
    departure = _departure_percent(profile)
    with panel(ax, look) as axes:
        axes.axhline(0.0, color=look.palette.soft, linewidth=look.frame.line_pt / 2)
        x = numbers(curve_of(profile, "transfer"), "input")
        axes.plot(x, departure, label="departure", **(look.series(0) | {"marker": ""}))
        axes.set(xlabel="input (FS)", ylabel="off the line (% of its peak)")
        axes.locator_params(axis="x", nbins=FEW)
    return axes


def _departure_percent(profile: Profile) -> Array:
    table = curve_of(profile, "transfer")
    return np.asarray(100 * numbers(table, "deviation") / np.max(np.abs(numbers(table, "line"))))
