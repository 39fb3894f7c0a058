import numpy as np

from charprobe.listening.band_picture import picture_bands
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, new_figure
from charprobe.publishing.figures.pair_picture import draw_pair_picture, plot_band_change, plot_band_levels


def test_both_panels_have_units_and_the_change_is_what_was_measured(made):
    drawing = draw_pair_picture(made, ARTICLE_LOOK)
    left, right, *bars = drawing.figure.axes
    for axes in (left, right):
        assert axes.get_xlabel() == "time from the first common sample (s)"
        assert axes.get_ylabel() == "frequency (Hz)"
    assert [bar.get_xlabel() for bar in bars] == ["dry sound (dB re its loudest)", "processed re dry (dB)"]
    drawn = right.collections[0].get_array()
    np.testing.assert_allclose(np.ma.filled(drawn, np.nan), picture_bands(made.pair).change_db)
    low, high = right.collections[0].get_clim()
    assert low == -high
    assert (
        "between −7.0 and −1.0 dB" in drawing.alt
    )  # 90 % of a sine of 3 dB about -4 dB reach 2.96 dB off it


def test_each_panel_draws_on_the_axes_it_is_given(made):
    _, axes = new_figure(ARTICLE_LOOK)
    assert plot_band_change(made, axes[0]) is axes[0]
    levels = plot_band_levels(made).collections[0].get_array()
    np.testing.assert_allclose(levels, picture_bands(made.pair).level_db)
