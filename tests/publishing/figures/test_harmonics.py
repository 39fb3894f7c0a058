import numpy as np
import pytest
from made_profiles import UGLY, made_profile

from charprobe.publishing.figures.harmonics import plot_harmonics


def test_harmonics_below_the_limit_are_gaps_and_the_limit_is_shaded(drawings):
    drawing = drawings["harmonics"]
    assert [axes.get_title(loc="left") for axes in drawing.figure.axes] == [
        "100 Hz tone",
        "997 Hz tone",
        "5 kHz tone",
    ]
    axes = drawing.figure.axes[1]
    curves = {line.get_label(): np.asarray(line.get_ydata(), float) for line in axes.lines}
    level = next(np.asarray(line.get_xdata(), float) for line in axes.lines if line.get_label() == "H2")
    np.testing.assert_allclose(curves["H2"], UGLY.h2_dbc + 0.9 * (level + 20), atol=1e-3)
    assert np.isnan(curves["H4"]).sum() == np.sum(UGLY.h3_dbc - 14 + 2.7 * (level + 20) <= -116 - level / 2)
    assert axes.collections[0].get_hatch()
    assert "reducing gain from −18 dBFS" in drawing.alt


@pytest.mark.parametrize("frequency_hz", [None, 5000.0])
def test_the_panel_draws_one_tone_on_the_axes_it_is_given(axes, frequency_hz):
    profile = made_profile(UGLY)
    assert plot_harmonics(profile, axes, frequency_hz=frequency_hz) is axes
    assert axes.get_title(loc="left") + axes.get_title() == ("5 kHz tone" if frequency_hz else "997 Hz tone")
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("input level (dBFS)", "level re fundamental (dBc)")
    table = profile.curves["harmonics"]
    chosen = np.array(table.columns["frequency_hz"]) == (frequency_hz or 997.0)
    (thd,) = (line for line in axes.lines if line.get_label() == "THD")
    np.testing.assert_array_equal(thd.get_ydata(), np.array(table.columns["thd_dbc"])[chosen])
