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


def test_overlays_hold_one_curve_per_setting_and_say_what_they_left_out():
    settings = [dataclasses.replace(B, name=f"s{i}", ratio=2.0 + i) for i in range(10)]
    profiles = [made_profile(setting) for setting in settings]
    static, timing = set_drawings(profiles, [setting.name for setting in settings], ARTICLE_LOOK)
    assert len([line for line in static.figure.axes[1].lines if len(line.get_xdata()) > 2]) == 8
    assert any(text.startswith("8 of 10; the others") for text in texts(static))
    assert [text.get_text() for text in timing.figure.axes[1].get_legend().get_texts()] == [
        f"s{i}" for i in range(8)
    ]


def test_the_timing_overlay_passes_63_percent_at_t63():
    _, timing = set_drawings([made_profile(B), made_profile(D)], ["B", "D"], ARTICLE_LOOK)
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
    assert [text.get_text() for text in anchored.texts] == ["B", "two"]
    timing = plot_timing_overlay(profiles, ["B", "two"], edge="release")
    assert (timing.get_xlabel(), timing.get_ylabel()) == (
        "time from the falling edge (ms)",
        "gain change done (%)",
    )
    assert [text.get_text() for text in timing.get_legend().get_texts()] == ["B", "two"]
