import dataclasses
from itertools import combinations

import numpy as np
import pytest
from made_profiles import UGLY, B, gain_db, made_profile

from charprobe.profile.burst_traces import edge_trace
from charprobe.profile.entry import Entry
from charprobe.publishing.figures.timing.gain_trace import plot_gain_trace
from charprobe.values.quantity import Unmeasured


def test_named_times_lie_on_the_curve(drawings):
    attack, release = drawings["attack-release"].figure.axes
    marks = [line for line in attack.lines if len(line.get_xdata()) == 1]
    marks.sort(key=lambda mark: float(mark.get_xdata()[0]))
    assert [round(float(mark.get_xdata()[0]), 2) for mark in marks] == [
        3.47,
        5.0,
        11.51,
    ]  # ln 2, 1, ln 10 times 5 ms
    reduction = UGLY.makeup_db - float(gain_db(UGLY, -8.0))
    heights = [float(mark.get_ydata()[0]) for mark in marks]
    shares = np.array([0.5, 1 - np.exp(-1), 0.9])
    np.testing.assert_allclose(
        heights, UGLY.makeup_db - reduction * shares, atol=0.02
    )  # between points of the trace
    assert attack.get_xlabel().endswith("(ms)")
    assert release.get_xlim()[0] < 0 < release.get_xlim()[1]


@pytest.mark.parametrize("edge", ["attack", "release"])
def test_words_beside_times_that_lie_close_do_not_cover_each_other(axes, edge):
    plot_gain_trace(made_profile(dataclasses.replace(B, ratio=1.05)), axes, edge=edge)
    axes.figure.canvas.draw()
    boxes = [text.get_window_extent() for text in axes.texts]
    assert len(boxes) == 3
    assert not any(one.overlaps(other) for one, other in combinations(boxes, 2))


def test_a_time_that_is_not_published_is_not_marked(axes):
    profile = made_profile(B)
    withheld = Entry(Unmeasured("s", "taken back", "see the curves"), "")
    quantities = {**profile.quantities, "attack.t63": withheld}
    plot_gain_trace(dataclasses.replace(profile, quantities=quantities), axes, edge="attack")
    assert [text.get_text().split()[0] for text in axes.texts] == ["t90", "t50"]


def test_log_time_has_plain_numbers(drawings):
    panel = drawings["attack-release-log"].figure.axes[0]
    assert panel.get_xscale() == "log"
    assert panel.xaxis.get_major_formatter()(0.1, 0) == "0.1"


@pytest.mark.parametrize("edge", ["attack", "release"])
def test_the_panel_draws_an_edge_on_the_axes_it_is_given(axes, edge):
    profile = made_profile(B)
    assert plot_gain_trace(profile, axes, edge=edge) is axes
    assert axes.get_xlabel().startswith("time from the ") and axes.get_xlabel().endswith(" edge (ms)")
    assert axes.get_ylabel() == "gain (dB)"
    time_s, gain = edge_trace(profile.curves["gain_trace"], edge, 0)
    np.testing.assert_array_equal(axes.lines[0].get_xdata(), 1e3 * time_s)
    drawn = np.isfinite(axes.lines[0].get_ydata())
    np.testing.assert_array_equal(axes.lines[0].get_ydata()[drawn], gain[drawn])
    assert drawn.sum() > 100
