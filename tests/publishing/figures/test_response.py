import numpy as np
from made_profiles import B, made_profile

from charprobe.publishing.figures.response import drives_of, plot_phase, plot_response


def test_each_panel_draws_on_the_axes_it_is_given(axes):
    profile = made_profile(B)
    table = profile.curves["response"]
    assert plot_response(profile, axes) is axes
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("frequency (Hz)", "gain (dB)")
    np.testing.assert_array_equal(axes.lines[0].get_xdata(), table.columns["frequency_hz"])
    np.testing.assert_array_equal(axes.lines[0].get_ydata(), table.columns["magnitude_db"])
    phase = plot_phase(profile)
    assert (phase.get_xlabel(), phase.get_ylabel()) == ("frequency (Hz)", "phase (degrees)")
    np.testing.assert_array_equal(phase.lines[0].get_ydata(), table.columns["phase_deg"])
    assert drives_of(table) == [-40.0]


def test_a_flat_phase_looks_flat(drawings):
    assert np.ptp(drawings["response"].figure.axes[1].get_ylim()) >= 20.0
