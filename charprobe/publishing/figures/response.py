"""The response re bypass: magnitude and phase over frequency, one curve per drive level."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from charprobe.profile.entry import Table, numbers
from charprobe.profile.profile import Profile, measured
from charprobe.publishing.figures.axes import frequency_axis, least_span
from charprobe.publishing.figures.drawing import Drawing
from charprobe.publishing.figures.source import conditions, in_words, who
from charprobe.publishing.figures.style import Look, new_figure, settings
from charprobe.publishing.figures.text import put_title_and_footer
from charprobe.values.wording import number_text

LEAST_SPAN_DB = 3.0  # a flat response is shown flat, not blown up
LEAST_SPAN_DEG = 20.0
NAMES = ("response.tilt", "response.low_corner", "response.high_corner", "response.shelf_gain")


def draw_response(profile: Profile, look: Look) -> Drawing:
    """Draw magnitude and phase of a profile; it must have the curve "response"."""
    table = profile.curves["response"]
    with settings(look):
        figure, (left, right) = new_figure(look, panels=2)
        plot_column(table, left, look, column="magnitude_db", span=LEAST_SPAN_DB)
        left.set(title="Magnitude", ylabel="gain (dB)")
        plot_column(table, right, look, column="phase_deg", span=LEAST_SPAN_DEG)
        right.set(title="Phase", ylabel="phase (degrees)")
        if len(drives_of(table)) > 1:
            left.legend(loc="lower center")
        for name in ("response.low_corner", "response.high_corner"):
            corner = measured(profile, name)
            if corner is not None:
                left.axvline(corner.value, color=look.palette.soft, linestyle=(0, (5, 3)), linewidth=0.7)
        title = f"Response – {who(profile)}"
        tilt, corner_words = (in_words(profile, f"response.{name}") for name in ("tilt", "low_corner"))
        main = f"tilt {tilt}, low corner {corner_words}"
        foot = conditions(profile, NAMES)
        put_title_and_footer(figure, look.frame, title=title, subtitle=main, footer=foot)
    magnitude = numbers(table, "magnitude_db")
    alt = (
        f"Two panels over frequency: gain, between {number_text(float(np.nanmin(magnitude)), 2)} and "
        f"{number_text(float(np.nanmax(magnitude)), 2)} dB, and phase; {main}."
    )
    return Drawing(figure, look, "response", title, alt, foot)


def plot_column(table: Table, axes: Axes, look: Look, *, column: str, span: float) -> Axes:
    """Plot a column of a response over frequency (Hz), one curve per drive level."""
    frequency, drive, height = (numbers(table, name) for name in ("frequency_hz", "drive_dbfs", column))
    for index, level in enumerate(drives_of(table)):
        chosen = drive == level
        style = look.series(index) | {"marker": ""}
        axes.plot(frequency[chosen], height[chosen], label=f"{number_text(level, 0)} dBFS drive", **style)
    frequency_axis(axes)
    least_span(axes, span)
    return axes


def drives_of(table: Table) -> list[float]:
    """Return the drive levels of a response in dBFS, softest first."""
    return sorted(set(numbers(table, "drive_dbfs").tolist()))
