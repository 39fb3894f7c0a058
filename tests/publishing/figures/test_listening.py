import numpy as np
import pytest

from charprobe.publishing.figures.listening import (
    draw_difference,
    draw_gain,
    draw_levels,
    plot_difference,
    plot_gain_histogram,
    plot_levels,
    plot_programme_gain,
    plot_spectrum_change,
    save_listening,
)
from charprobe.publishing.figures.look.style import ARTICLE_LOOK
from charprobe.values.errors import OutputError

RATE_HZ = 48_000


def test_gain_figure_shows_the_gain_and_where_it_spends_its_time(made):
    drawing = draw_gain(made, ARTICLE_LOOK)
    left, right = drawing.figure.axes
    assert left.get_xlabel() == "time from the first common sample (s)"
    assert left.get_ylabel() == "gain, processed re dry (dB)"
    low, high = left.get_ylim()
    assert low < -7 < -1 < high  # the swing is -7 to -1 dB
    assert sum(bar.get_width() for bar in right.patches) == pytest.approx(100)
    assert "−7.0 and −1.0 dB" in drawing.alt  # nine tenths of a sine: 3 cos(0.05 pi) = 2.96 dB off its middle


def test_levels_figure_has_units_and_says_what_transients_are(made):
    drawing = draw_levels(made, ARTICLE_LOOK)
    left, right = drawing.figure.axes
    assert "(dBFS)" in left.get_xlabel() and "(dBFS)" in left.get_ylabel()
    assert right.get_ylabel() == "long-term spectrum, change (dB)"
    assert "20 ms" in drawing.conditions
    points = left.collections[0].get_offsets()
    np.testing.assert_allclose(points[:, 0], made.did.level_in_dbfs)


def test_difference_figure_draws_every_step(made):
    drawing = draw_difference(made, ARTICLE_LOOK)
    (axes,) = drawing.figure.axes
    assert len(axes.lines) == len(made.null.rungs) == 5
    np.testing.assert_allclose(axes.lines[0].get_ydata(), made.null.rungs[0].band_depth_db)
    assert made.null.sentence in drawing.alt


def test_each_panel_draws_on_the_axes_it_is_given(made, axes):
    assert plot_levels(made, axes) is axes
    assert axes.get_ylabel() == "level of the processed sound (dBFS)"
    np.testing.assert_allclose(axes.collections[0].get_offsets()[:, 1], made.did.level_out_dbfs)
    assert plot_programme_gain(made).get_ylabel() == "gain, processed re dry (dB)"
    shares = [bar.get_width() for bar in plot_gain_histogram(made).patches]
    np.testing.assert_allclose(shares, 100 * made.did.histogram_share)
    change = plot_spectrum_change(made)
    assert (change.get_xlabel(), change.get_ylabel()) == ("frequency (Hz)", "long-term spectrum, change (dB)")
    np.testing.assert_array_equal(change.lines[0].get_ydata(), made.did.band_change_db)
    difference = plot_difference(made)
    assert difference.get_ylabel() == "difference re processed sound (dB)"
    np.testing.assert_array_equal(difference.lines[-1].get_ydata(), made.null.rungs[-1].band_depth_db)


def test_files_are_the_same_each_time_and_never_written_over(made, tmp_path):
    one, two = (save_listening(made, tmp_path / name, ARTICLE_LOOK, force=False) for name in ("a", "b"))
    assert len(one) == 16
    for first, second in zip(one, two, strict=True):
        assert first.read_bytes() == second.read_bytes()
    with pytest.raises(OutputError, match="--force"):
        save_listening(made, tmp_path / "a", ARTICLE_LOOK, force=False)
