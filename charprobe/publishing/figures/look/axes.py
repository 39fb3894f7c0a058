"""Axes that several figures share: frequency, marks for stretches of an axis, bands of intervals."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, LogLocator, NullFormatter, NullLocator

from charprobe.values.arrays import Array
from charprobe.values.quantity import Z95
from charprobe.values.wording import rounded_text

TICKS_HZ = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000)


def frequency_axis(axes: Axes) -> None:
    """Make the horizontal axis a logarithmic one of frequency, labelled 20 ... 20k."""
    axes.set_xscale("log")
    axes.set_xlim(TICKS_HZ[0], TICKS_HZ[-1])
    axes.xaxis.set_major_locator(FixedLocator(TICKS_HZ))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: hertz(value)))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.set_xlabel("frequency (Hz)")


def least_span(axes: Axes, span: float) -> None:
    """Widen the vertical axis to at least `span`, so that what is flat looks flat."""
    low, high = axes.get_ylim()
    lack = max(0.0, span - (high - low)) / 2
    axes.set_ylim(low - lack, high + lack)


def one_scale_name(panels: Sequence[Axes]) -> None:
    """Leave names and numbers of the vertical axis that panels side by side share to the first of them."""
    for axes in panels[1:]:
        axes.set_ylabel("")
        axes.tick_params(labelleft=False)


def log_time_axis(axes: Axes, *, first: float, last: float) -> None:
    """Make the horizontal axis a logarithmic one of time, with plain numbers at the decades."""
    axes.set_xscale("log")
    axes.set_xlim(first, last)
    axes.xaxis.set_major_locator(LogLocator(10))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: rounded_text(value)))
    axes.xaxis.set_minor_formatter(NullFormatter())


def frequency_words(value: float) -> str:
    """Return a frequency with its unit: "997 Hz", "5 kHz"."""
    return f"{rounded_text(value / 1000)} kHz" if value >= 1000 else f"{rounded_text(value)} Hz"


def hertz(value: float) -> str:
    """Return a frequency for a tick: "500", "2k"."""
    return f"{value / 1000:g}k" if value >= 1000 else f"{value:g}"


def interval_band(
    axes: Axes, x: Array, height: Array, std: Array, *, colour: str, step: Literal["mid"] | None = None
) -> None:
    """Shade the 95 % interval around a curve; points without one leave a gap."""
    reach = Z95 * std
    if np.isfinite(reach).any():
        axes.fill_between(x, height - reach, height + reach, color=colour, alpha=0.25, linewidth=0, step=step)
