import dataclasses

import numpy as np
import pytest
from figure_parts import INPUT, TRANSFER, lines
from made_profiles import B, made_profile

from charprobe.publishing.figures.transfer import plot_transfer, plot_transfer_departure


def test_the_transfer_curve_departs_from_its_line_as_given(drawings):
    departure = lines(drawings["transfer"], 1)["departure"]
    # a cube of 0.4 x**3 at x = 0.5 is 0.05 of a line that reaches 1: 5 %
    assert departure.get_ydata()[-1] == pytest.approx(-5.0, abs=1e-9)
    assert "up to 5 % off" in drawings["transfer"].alt


def test_each_panel_draws_on_the_axes_it_is_given(axes):
    profile = dataclasses.replace(made_profile(B), curves={"transfer": TRANSFER})
    assert plot_transfer(profile, axes) is axes
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("input (FS)", "output (FS)")
    np.testing.assert_allclose(axes.lines[1].get_ydata(), 2 * INPUT - 0.4 * INPUT**3, rtol=1e-5)  # six digits
    departure = plot_transfer_departure(profile)
    assert departure.get_ylabel() == "off the line (% of its peak)"
    np.testing.assert_allclose(departure.lines[1].get_ydata(), -40 * INPUT**3, rtol=1e-5)
