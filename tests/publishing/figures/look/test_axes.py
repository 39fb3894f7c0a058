"""Axes that figures share."""

import numpy as np
import pytest
from matplotlib.figure import Figure

from charprobe.publishing.figures.look.axes import (
    frequency_axis,
    frequency_words,
    hertz,
    interval_band,
    least_span,
)


@pytest.fixture
def axes():
    return Figure().add_subplot()


def test_frequencies_in_words_and_on_ticks():
    assert [frequency_words(value) for value in (110.0, 997.0, 5003.0)] == ["110 Hz", "997 Hz", "5 kHz"]
    assert [hertz(value) for value in (500, 2000, 20_000)] == ["500", "2k", "20k"]


def test_a_frequency_axis_is_logarithmic_from_20_to_20k(axes):
    frequency_axis(axes)
    assert axes.get_xscale() == "log"
    assert axes.get_xlim() == (20, 20_000)
    assert axes.get_xlabel() == "frequency (Hz)"


def test_a_flat_curve_looks_flat_and_a_steep_one_is_left(axes):
    axes.set_ylim(1.0, 1.5)
    least_span(axes, 2.0)
    assert axes.get_ylim() == pytest.approx((0.25, 2.25))
    least_span(axes, 1.0)
    assert axes.get_ylim() == pytest.approx((0.25, 2.25))


def test_a_band_reaches_95_percent_and_is_none_without_uncertainties(axes):
    x = np.arange(3.0)
    interval_band(axes, x, 0 * x, np.full(3, np.nan), colour="k")
    assert not axes.collections
    interval_band(axes, x, 0 * x, np.full(3, 0.5), colour="k")
    assert axes.collections[0].get_paths()[0].vertices[:, 1].max() == pytest.approx(0.98, abs=1e-3)
