import numpy as np
import pytest
from matplotlib.figure import Figure

from charprobe.publishing.figures.look.labels import EndLabel, apart, in_two_lines, label_ends
from charprobe.publishing.figures.look.palette import contrast
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, LOOKS, new_figure


@pytest.mark.parametrize("seed", range(5))
def test_heights_stand_apart_in_order_inside_the_axes(seed):
    wanted = np.random.default_rng(seed).uniform(0, 1, 8).tolist()
    placed = apart(wanted, 0.08)
    order = np.argsort(wanted)
    assert (np.diff(np.array(placed)[order]) >= 0.08 - 1e-9).all()
    assert min(placed) >= 0.0 and max(placed) <= 1.0 + 1e-9


def test_names_that_do_not_touch_stay_where_their_curves_end():
    assert apart([0.1, 0.5, 0.9], 0.1) == pytest.approx([0.1, 0.5, 0.9])


def test_a_long_name_takes_two_lines_and_is_cut():
    text = in_two_lines("a setting whose name goes on and on and on", 12)
    assert text.count("\n") == 1 and text.endswith("…")
    assert max(map(len, text.split("\n"))) <= 12


def test_each_name_stands_in_the_colour_of_its_curve_pointing_at_its_end():
    axes = Figure().subplots()
    axes.set(xlim=(0, 1), ylim=(-10, 0))
    label_ends(axes, [EndLabel("first", -5.0, "#112233"), EndLabel("second", -5.0, "#445566")], ARTICLE_LOOK)
    assert [(text.get_text(), text.get_color()) for text in axes.texts] == [
        ("first", "#112233"),
        ("second", "#445566"),
    ]
    assert [text.xy for text in axes.texts] == [(1.0, pytest.approx(0.5))] * 2
    assert abs(axes.texts[0].get_position()[1] - axes.texts[1].get_position()[1]) > 0.02


@pytest.mark.parametrize("look", LOOKS.values())
def test_every_name_can_be_read_whatever_the_colour_of_its_curve(look):
    _, (axes,) = new_figure(look)
    labels = [EndLabel(str(n), float(n), colour) for n, colour in enumerate(look.palette.series)]
    label_ends(axes, labels, look)
    assert min(contrast(text.get_color(), look.palette.paper) for text in axes.texts) >= 4.5
