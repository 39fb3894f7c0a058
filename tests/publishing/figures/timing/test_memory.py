import dataclasses

import numpy as np
import pytest
from figure_parts import lines, three_holds
from made_profiles import B, made_profile

from charprobe.publishing.figures.timing.memory import plot_memory
from charprobe.values.errors import ProfileError


def test_release_against_burst_length_is_in_order_of_length(drawings):
    t63 = lines(drawings["memory"], 0)["t63"]
    np.testing.assert_allclose(t63.get_xdata(), [30, 400, 3000])
    np.testing.assert_allclose(t63.get_ydata(), [60, 120, 240], rtol=1e-5)  # UGLY's 0.12 s, six digits kept


def test_the_panel_draws_on_the_axes_it_is_given_and_asks_for_several_lengths(axes):
    profile = made_profile(B)
    with pytest.raises(ProfileError, match="bursts of several lengths"):
        plot_memory(profile, axes)
    held = dataclasses.replace(
        profile, curves={**profile.curves, "timing": three_holds(profile.curves["timing"])}
    )
    assert plot_memory(held, axes) is axes
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("length of the burst (ms)", "release time (ms)")
    t63 = next(line for line in axes.lines if line.get_label() == "t63")
    np.testing.assert_allclose(t63.get_ydata(), [60, 120, 240], rtol=1e-5)  # B's 0.12 s, six digits kept
