"""The response re bypass: magnitude and phase over frequency, one curve per drive level."""

from __future__ import annotations

from functools import partial

import numpy as np
from matplotlib.axes import Axes

from charprobe.profile.entry import Table, numbers
from charprobe.profile.profile import Profile
from charprobe.publishing.figures.look.axes import frequency_axis, interval_band, least_span
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.source import conditions, curve_of, in_words, who
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel
from charprobe.values.wording import number_text

LEAST_SPAN_DB = 3.0  # a flat response is shown flat, not blown up
LEAST_SPAN_DEG = 20.0
NAMES = ("response.tilt", "response.low_corner", "response.high_corner", "response.shelf_gain")


def draw_response(profile: Profile, look: Look) -> Drawing:
    """Draw magnitude and phase of a profile; it must have the curve "response"."""
    tilt, corner = (in_words(profile, f"response.{name}") for name in ("tilt", "low_corner"))
    main = f"tilt {tilt}, low corner {corner}"
    magnitude = numbers(profile.curves["response"], "magnitude_db")
    return composed(
        "response",
        look,
        [partial(plot_response, profile), partial(plot_phase, profile)],
        title=f"Response – {who(profile)}",
        main=main,
        conditions=conditions(profile, NAMES),
        alt=f"Two panels over frequency: gain, between {number_text(float(np.nanmin(magnitude)), 2)} and "
        f"{number_text(float(np.nanmax(magnitude)), 2)} dB, and phase; {main}.",
    )


def plot_response(profile: Profile, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot gain (dB) over frequency (Hz), one curve per drive level, its corners marked."""
    table = curve_of(profile, "response")
    with panel(ax, look) as axes:
        _plot_column(table, axes, look, column="magnitude_db", span=LEAST_SPAN_DB)
        axes.set(title="Magnitude", ylabel="gain (dB)")
        if len(drives_of(table)) > 1:
            axes.legend(loc="lower center")
        for name in ("response.low_corner", "response.high_corner"):
            corner = profile.measured(name)
            if corner is not None:
                axes.axvline(corner.value, color=look.palette.soft, linestyle=(0, (5, 3)), linewidth=0.7)
    return axes


def plot_phase(profile: Profile, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot phase (degrees) over frequency (Hz), one curve per drive level."""
    with panel(ax, look) as axes:
        _plot_column(curve_of(profile, "response"), axes, look, column="phase_deg", span=LEAST_SPAN_DEG)
        axes.set(title="Phase", ylabel="phase (degrees)")
    return axes


def _plot_column(table: Table, axes: Axes, look: Look, *, column: str, span: float) -> None:
    stem, _, unit = column.partition("_")
    frequency, drive, height, std = (
        numbers(table, name) for name in ("frequency_hz", "drive_dbfs", column, f"{stem}_std_{unit}")
    )
    for index, level in enumerate(drives_of(table)):
        chosen = drive == level
        style = look.series(index) | {"marker": ""}
        axes.plot(frequency[chosen], height[chosen], label=f"{number_text(level, 0)} dBFS drive", **style)
        interval_band(axes, frequency[chosen], height[chosen], std[chosen], colour=style["color"])
    frequency_axis(axes)
    least_span(axes, span)


def drives_of(table: Table) -> list[float]:
    """Return the drive levels of a response in dBFS, softest first."""
    return sorted(set(numbers(table, "drive_dbfs").tolist()))
