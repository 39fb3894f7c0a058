from itertools import combinations

import matplotlib as mpl
import pytest
from figure_parts import texts
from made_profiles import LIMITER, TWO_STAGE, UGLY, UGLY_NAME, B, D, made_profile

from charprobe.publishing.figures.all_figures import DRAW, draw_profile, profile_drawings, set_drawings
from charprobe.publishing.figures.look.style import LOOKS


def test_there_is_one_figure_per_curve_with_its_own_name(drawings):
    curves = [curve for _, curve, _, _ in DRAW]
    assert curves.count("replica_gain") == 1
    assert len(drawings) == len(DRAW) - 1  # nothing was fitted to this capture


def test_every_axis_names_its_unit(drawings):
    for drawing in drawings.values():
        axes = drawing.figure.axes
        shown = [panel for panel in axes if panel.axison]
        units = ("(dBFS)", "(ms)", "(s)", "(Hz)", "(FS)", "order of the harmonic")  # an order has none
        assert all(panel.get_xlabel().endswith(units) for panel in shown), drawing.name
        named = [panel for panel in axes if panel.get_ylabel()]
        assert named
        assert all(panel.get_ylabel().endswith(")") for panel in named), drawing.name


def test_the_users_name_is_shown_literally_and_every_footer_has_the_conditions(drawings):
    for drawing in drawings.values():
        found = texts(drawing)
        assert any(UGLY_NAME.replace("\n", "↵") in text for text in found), drawing.name
        footer = next(text for text in found if "intervals 95" in text)
        assert "take 1 é.wav" in footer
        assert "warnings: unsettled" in footer.replace("\n", " ")


@pytest.mark.parametrize("look", LOOKS)
def test_nothing_leaves_the_figure_and_no_two_names_touch(look):
    profile = made_profile(UGLY)
    sets = [made_profile(setting) for setting in (B, D, LIMITER, TWO_STAGE, UGLY)]
    names = [one.setting for one in sets]
    for drawing in (*profile_drawings(profile, LOOKS[look]), *set_drawings(sets, names, LOOKS[look])):
        renderer = drawing.figure.canvas.get_renderer()
        box = drawing.figure.get_tightbbox(renderer)
        frame = drawing.look.frame
        assert box.x0 >= 0, drawing.name
        assert box.y0 >= 0, drawing.name
        assert box.x1 <= frame.width_in, drawing.name
        assert box.y1 <= frame.height_in, drawing.name
        for axes in drawing.figure.axes:
            boxes = [mpl.text.Text.get_window_extent(item, renderer) for item in axes.texts]
            assert not any(a.overlaps(b) for a, b in combinations(boxes, 2)), drawing.name


@pytest.mark.parametrize("look", LOOKS)
def test_every_look_draws_every_setting(look):
    for setting in (B, LIMITER, TWO_STAGE):
        for drawing in profile_drawings(made_profile(setting), LOOKS[look]):
            frame = LOOKS[look].frame
            assert tuple(drawing.figure.get_size_inches()) == (frame.width_in, frame.height_in)
            assert len(drawing.alt) > 80


def test_file_names_of_odd_settings_are_safe(tmp_path):
    paths = draw_profile(made_profile(UGLY), tmp_path / "figures", force=False, looks=("article",))
    assert len(paths) == 8 * 4  # figures of the curves of a made profile, in SVG, PNG, PDF and words
    assert all(path.exists() for path in paths)
    assert not any(set(path.name) & set('$%<>&"\n/') for path in paths)
