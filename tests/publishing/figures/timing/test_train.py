import dataclasses

import numpy as np
from figure_parts import TRAIN, TRAIN_TRACE
from made_profiles import B, made_profile

from charprobe.publishing.figures.timing.train import plot_burst_train


def test_the_panel_draws_on_the_axes_it_is_given(axes):
    profile = dataclasses.replace(
        made_profile(B), curves={"burst_train": TRAIN, "burst_train_trace": TRAIN_TRACE}
    )
    assert plot_burst_train(profile, axes) is axes
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("time from the first burst (ms)", "gain (dB)")
    drawn = {line.get_label(): line for line in axes.lines}
    np.testing.assert_allclose(drawn["gain"].get_ydata(), TRAIN_TRACE.columns["gain_db"])
    np.testing.assert_allclose(drawn["before a burst"].get_xdata(), [0, 200, 400])
    np.testing.assert_allclose(drawn["at its end"].get_ydata(), TRAIN.columns["end_db"])
    assert len(axes.patches) == 3
