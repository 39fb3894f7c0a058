import dataclasses

import numpy as np
from figure_parts import lines, points, texts
from made_profiles import UGLY, B, gain_db, made_profile

from charprobe.profile.entry import Entry
from charprobe.publishing.figures.look.style import ARTICLE_LOOK
from charprobe.publishing.figures.static import draw_static, plot_anchored_curve, plot_static_curve
from charprobe.values.quantity import Unmeasured


def test_a_setting_that_does_not_compress_is_headed_so_and_drawn_as_plain():
    profile = made_profile(B)
    top = Unmeasured("dBFS", "nothing is reduced", "none", at_least=-1.5)
    none = Unmeasured("dB/dB", "nothing is reduced", "none")
    changed = {"static.threshold": Entry(top, ""), "static.slope": Entry(none, "")}
    table = profile.curves["static"]
    flat = [level + 0.0001 * (i % 2) for i, level in enumerate(table.columns["input_dbfs"])]
    columns = {**table.columns, "output_dbfs": flat, "gain_db": [0.0001 * (i % 2) for i in range(len(flat))]}
    curves = {**profile.curves, "static": dataclasses.replace(table, columns=columns)}
    drawing = draw_static(
        dataclasses.replace(profile, quantities={**profile.quantities, **changed}, curves=curves),
        ARTICLE_LOOK,
    )
    assert "no compression found (threshold ≥ −1.5 dBFS)" in drawing.alt
    assert np.ptp(drawing.figure.axes[1].get_ylim()) >= 0.2


def test_static_points_are_those_of_the_curve(drawings):
    left, right = drawings["static"].figure.axes
    rising = points(left, "rising")
    level = np.asarray(rising.get_xdata(), float)
    np.testing.assert_allclose(rising.get_ydata(), level + gain_db(UGLY, level), atol=1e-4)  # six digits kept
    anchored = points(right, "rising").get_ydata()
    np.testing.assert_allclose(anchored, gain_db(UGLY, level) - (UGLY.makeup_db + 0.2), atol=1e-4)


def test_unsettled_points_are_crossed_out_and_counted(drawings):
    cross = lines(drawings["static"], 0)["not settled"]
    assert sorted(cross.get_xdata()) == [-15.0, -12.0]
    assert "2 of 40 points had not settled" in drawings["static"].alt


def test_threshold_is_marked_where_it_was_measured_only():
    profile = made_profile(B)
    assert lines(draw_static(profile, ARTICLE_LOOK), 1)["threshold"].get_xdata()[0] == B.threshold_dbfs
    gone = Entry(Unmeasured("dBFS", "never compresses", "play louder"), "")
    without = dataclasses.replace(profile, quantities={**profile.quantities, "static.threshold": gone})
    drawing = draw_static(without, ARTICLE_LOOK)
    assert "threshold" not in lines(drawing, 1)
    assert any("threshold not measured" in text for text in texts(drawing))


def test_each_panel_draws_on_the_axes_it_is_given(axes):
    profile = made_profile(B)
    level = np.array(profile.curves["static"].columns["input_dbfs"])[:20]
    assert plot_static_curve(profile, axes) is axes
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("input level (dBFS)", "output level (dBFS)")
    np.testing.assert_allclose(points(axes, "rising").get_ydata(), level + gain_db(B, level), atol=1e-4)
    anchored = plot_anchored_curve(profile)
    assert anchored is not axes
    assert anchored.get_ylabel() == "gain re low level (dB)"
    wanted = gain_db(B, level) - (B.makeup_db + 0.2)  # six digits kept
    np.testing.assert_allclose(points(anchored, "rising").get_ydata(), wanted, atol=1e-4)
