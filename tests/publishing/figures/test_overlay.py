import dataclasses

import numpy as np
import pytest
from figure_parts import texts
from made_profiles import TWO_STAGE, B, D, gain_db, made_profile

from charprobe.publishing.figures.all_figures import set_drawings
from charprobe.publishing.figures.look.style import ARTICLE_LOOK
from charprobe.publishing.figures.overlay import (
    plot_anchored_overlay,
    plot_static_overlay,
    plot_timing_overlay,
)


def overlays(settings):
    drawn = set_drawings(
        [made_profile(one) for one in settings], [one.name for one in settings], ARTICLE_LOOK
    )
    return {drawing.name: drawing for drawing in drawn}


def named(axes):
    return [text.get_text() for text in axes.get_legend().get_texts()]


def test_every_setting_has_its_curve_however_many_there_are():
    settings = [dataclasses.replace(B, name=f"s{i}", ratio=2.0 + i) for i in range(10)]
    drawn = overlays(settings)
    assert set(drawn) == {"static-overlay", "timing-overlay", "harmonics-overlay", "response-overlay"}
    for drawing in drawn.values():
        (key,) = drawing.figure.legends  # one for all panels
        assert [text.get_text() for text in key.get_texts()] == [setting.name for setting in settings]
        last = drawing.figure.axes[-1]
        assert len([line for line in last.lines if len(line.get_xdata()) > 2]) == 10


def test_settings_whose_names_are_cut_alike_keep_a_line_each_in_the_key():
    long = "a name that is much too long for two lines of a key, number "
    (key,) = overlays([dataclasses.replace(B, name=f"{long}{i}") for i in range(3)])[
        "static-overlay"
    ].figure.legends
    assert len(key.get_texts()) == 3


def test_a_setting_has_one_colour_in_every_overlay_and_who_has_no_curve_is_named():
    plain = dataclasses.replace(made_profile(B), curves={"static": made_profile(B).curves["static"]})
    profiles = [plain, made_profile(D), made_profile(TWO_STAGE)]
    drawn = {one.name: one for one in set_drawings(profiles, ["plain", "D", "two"], ARTICLE_LOOK)}
    colours = {
        name: {handle.get_label(): handle.get_color() for handle in drawing.figure.axes[-1].lines}
        for name, drawing in drawn.items()
    }
    assert {of["D"] for of in colours.values()} == {ARTICLE_LOOK.series(1)["color"]}
    assert "no curve: plain" in texts(drawn["timing-overlay"])
    assert "no curve: plain" not in texts(drawn["static-overlay"])


def test_the_timing_overlay_passes_63_percent_at_t63():
    timing = overlays([B, D])["timing-overlay"]
    for line, setting in zip(timing.figure.axes[1].lines, (B, D), strict=True):
        share = np.interp(setting.release_s * 1e3, line.get_xdata(), line.get_ydata())
        assert share == pytest.approx(
            100 * (1 - np.exp(-1)), abs=0.1
        )  # straight lines between points of the trace


def test_each_panel_draws_on_the_axes_it_is_given(axes):
    profiles = [made_profile(setting) for setting in (B, TWO_STAGE)]
    assert plot_static_overlay(profiles, ["B", "two"], axes) is axes
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("input level (dBFS)", "output level (dBFS)")
    for line, setting in zip(axes.lines, (B, TWO_STAGE), strict=False):
        level = np.asarray(line.get_xdata())
        np.testing.assert_allclose(line.get_ydata(), level + gain_db(setting, level), atol=1e-4)  # six digits
    anchored = plot_anchored_overlay(profiles, ["B", "two"])
    assert anchored.get_ylabel() == "gain re low level (dB)"
    assert named(anchored) == ["B", "two"]
    timing = plot_timing_overlay(profiles, ["B", "two"], edge="release")
    assert (timing.get_xlabel(), timing.get_ylabel()) == (
        "time from the falling edge (ms)",
        "gain change done (%)",
    )
    assert named(timing) == ["B", "two"]
