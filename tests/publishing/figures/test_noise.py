import dataclasses

import numpy as np
import pytest
from figure_parts import NOISE, TRANSFER
from made_profiles import B, made_profile

from charprobe.publishing.figures.noise import plot_noise
from charprobe.values.errors import ProfileError


def test_noise_is_drawn_without_a_bypass_that_is_missing(drawings):
    labels = [line.get_label() for line in drawings["noise"].figure.axes[0].lines]
    assert labels == ["setting"]


def test_the_panel_draws_on_the_axes_it_is_given_and_names_the_curves_there_are(axes):
    profile = dataclasses.replace(made_profile(B), curves={"noise_spectrum": NOISE})
    assert plot_noise(profile, axes) is axes
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("frequency (Hz)", "noise density (dBFS per Hz)")
    np.testing.assert_array_equal(axes.lines[0].get_xdata(), NOISE.columns["frequency_hz"])
    np.testing.assert_array_equal(axes.lines[0].get_ydata(), NOISE.columns["density_dbfs_per_hz"])
    with pytest.raises(
        ProfileError, match="no curve 'noise_spectrum' to plot; curves of this profile: transfer"
    ):
        plot_noise(dataclasses.replace(profile, curves={"transfer": TRANSFER}))
