import dataclasses
import xml.etree.ElementTree as ET
from itertools import combinations

import matplotlib as mpl
import numpy as np
import pytest
from made_profiles import LIMITER, TWO_STAGE, UGLY, UGLY_NAME, B, D, gain_db, made_profile

from charprobe.profile.entry import Entry, Table
from charprobe.publishing.figures.all_figures import DRAW, draw_profile, profile_drawings, set_drawings
from charprobe.publishing.figures.colour_map import cells_of, has_cells
from charprobe.publishing.figures.drawing import save_drawing
from charprobe.publishing.figures.source import in_words
from charprobe.publishing.figures.static import draw_static
from charprobe.publishing.figures.style import ARTICLE_LOOK, LOOKS
from charprobe.publishing.figures.text import ABSENT, lacks_glyphs, shown
from charprobe.values.errors import OutputError
from charprobe.values.quantity import Unmeasured

NOISE = Table(
    {
        "frequency_hz": [31.5, 1000.0],
        "density_dbfs_per_hz": [-130.0, -140.0],
        "bypass_density_dbfs_per_hz": [None] * 2,
    },
    {"frequency_hz": "Hz", "density_dbfs_per_hz": "dBFS/Hz", "bypass_density_dbfs_per_hz": "dBFS/Hz"},
)


INPUT = np.linspace(-0.5, 0.5, 11)
TRANSFER = Table(
    {
        "input": INPUT.tolist(),
        "output": (2 * INPUT - 0.4 * INPUT**3).tolist(),
        "line": (2 * INPUT).tolist(),
        "deviation": (-0.4 * INPUT**3).tolist(),
        "frequency_hz": [997.0] * 11,
        "drive_dbfs": [-6.0] * 11,
        "memory": [False] * 11,
    },
    {
        "input": "FS",
        "output": "FS",
        "line": "FS",
        "deviation": "FS",
        "frequency_hz": "Hz",
        "drive_dbfs": "dBFS",
        "memory": "",
    },
)


TRAIN = Table(
    {
        "burst": [1, 2, 3],
        "start_s": [0.0, 0.2, 0.4],
        "stop_s": [0.1, 0.3, 0.5],
        "before_db": [0.0, -2.0, -2.1],
        "end_db": [-6.0, -6.5, -6.6],
        "std_db": [0.01] * 3,
    },
    {"burst": "", "start_s": "s", "stop_s": "s", "before_db": "dB", "end_db": "dB", "std_db": "dB"},
)
TRAIN_TRACE = Table(
    {
        "time_s": [-0.1, 0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.7],
        "gain_db": [0, 0, -6.0, -2.0, -6.5, -2.1, -6.6, -1.0],
    },
    {"time_s": "s", "gain_db": "dB"},
)


def three_holds(timing):
    """The burst of a profile held 0.4, 0.03 and 3 s; the release doubles with each tenfold length."""
    scale = {"hold_s": (1, 0.075, 7.5)} | {f"release_{word}_s": (1, 0.5, 2) for word in ("t50", "t63", "t90")}
    columns = {
        name: [None if cells[0] is None else cells[0] * factor for factor in scale.get(name, (1, 1, 1))]
        for name, cells in timing.columns.items()
    }
    return Table(columns, timing.units)


@pytest.fixture(scope="module")
def drawings():
    profile = made_profile(UGLY)
    curves = {
        **profile.curves,
        "noise_spectrum": NOISE,
        "timing": three_holds(profile.curves["timing"]),
        "transfer": TRANSFER,
        "burst_train": TRAIN,
        "burst_train_trace": TRAIN_TRACE,
    }
    profile = dataclasses.replace(profile, curves=curves)
    return {drawing.name: drawing for drawing in profile_drawings(profile, ARTICLE_LOOK)}


def lines(drawing, panel):
    return {line.get_label(): line for line in drawing.figure.axes[panel].lines}


def points(axes, label):
    bars = {container.get_label(): container for container in axes.containers}
    return bars[label].lines[0]


def texts(drawing):
    return [item.get_text() for item in drawing.figure.findobj(mpl.text.Text) if item.get_text().strip()]


def test_there_is_one_figure_per_curve_with_its_own_name(drawings):
    assert len(drawings) == len(DRAW)


def test_every_axis_names_its_unit(drawings):
    for drawing in drawings.values():
        axes = drawing.figure.axes
        shown = [panel for panel in axes if panel.axison]
        units = ("(dBFS)", "(ms)", "(s)", "(Hz)", "(FS)", "order of the harmonic")  # an order has none
        assert all(panel.get_xlabel().endswith(units) for panel in shown), drawing.name
        named = [panel for panel in axes if panel.get_ylabel()]
        assert named
        assert all(panel.get_ylabel().endswith(")") for panel in named), drawing.name


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


def test_named_times_lie_on_the_curve(drawings):
    attack, release = drawings["attack-release"].figure.axes
    marks = [line for line in attack.lines if len(line.get_xdata()) == 1]
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


def test_log_time_has_plain_numbers(drawings):
    panel = drawings["attack-release-log"].figure.axes[0]
    assert panel.get_xscale() == "log"
    assert panel.xaxis.get_major_formatter()(0.1, 0) == "0.1"


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


def test_release_against_burst_length_is_in_order_of_length(drawings):
    t63 = lines(drawings["memory"], 0)["t63"]
    np.testing.assert_allclose(t63.get_xdata(), [30, 400, 3000])
    np.testing.assert_allclose(t63.get_ydata(), [60, 120, 240], rtol=1e-5)  # UGLY's 0.12 s, six digits kept


def test_the_transfer_curve_departs_from_its_line_as_given(drawings):
    departure = lines(drawings["transfer"], 1)["departure"]
    # a cube of 0.4 x**3 at x = 0.5 is 0.05 of a line that reaches 1: 5 %
    assert departure.get_ydata()[-1] == pytest.approx(-5.0, abs=1e-9)
    assert "up to 5 % off" in drawings["transfer"].alt


def test_noise_is_drawn_without_a_bypass_that_is_missing(drawings):
    labels = [line.get_label() for line in drawings["noise"].figure.axes[0].lines]
    assert labels == ["setting"]


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
        frame = LOOKS[look].frame
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


def test_curves_differ_in_style_and_marker_beside_colour():
    looks = [ARTICLE_LOOK.series(index) for index in range(8)]
    assert len({str(look["linestyle"]) for look in looks}) == 8
    assert len({look["marker"] for look in looks}) == 8


def test_files_are_the_same_bytes_in_two_runs_and_carry_no_time(tmp_path):
    runs = []
    for run in ("a", "b"):
        (tmp_path / run).mkdir()
        drawing = draw_static(made_profile(UGLY), ARTICLE_LOOK)
        runs.append(save_drawing(drawing, tmp_path / run, stem="static", force=False))
    assert [path.suffix for path in runs[0]] == [".svg", ".png", ".pdf", ".txt"]
    for first, second in zip(*runs, strict=True):
        assert first.read_bytes() == second.read_bytes(), first.name
    svg = runs[0][0].read_text(encoding="utf-8")
    ET.fromstring(svg)
    assert "dc:date" not in svg
    assert b"CreationDate" not in runs[0][2].read_bytes()
    with pytest.raises(OutputError, match="already exists"):
        save_drawing(drawing, tmp_path / "a", stem="static", force=False)


def test_drawing_leaves_matplotlib_as_it_was():
    before = dict(mpl.rcParams)
    draw_static(made_profile(B), ARTICLE_LOOK).rendered("svg")
    assert dict(mpl.rcParams) == before


def test_file_names_of_odd_settings_are_safe(tmp_path):
    paths = draw_profile(made_profile(UGLY), tmp_path / "figures", force=False, looks=("article",))
    assert len(paths) == 8 * 4  # figures of the curves of a made profile, in SVG, PNG, PDF and words
    assert all(path.exists() for path in paths)
    assert not any(set(path.name) & set('$%<>&"\n/') for path in paths)


def test_a_character_the_font_lacks_becomes_a_box():
    assert shown("日 ok") == f"{ABSENT} ok"
    assert lacks_glyphs("日")
    assert not lacks_glyphs(UGLY_NAME)
    named = draw_static(made_profile(dataclasses.replace(B, name="日本")), ARTICLE_LOOK)
    assert "font lacks some characters" in named.notes[0]
    assert draw_static(made_profile(UGLY), ARTICLE_LOOK).notes == ()


def test_the_map_shows_each_cell_and_what_hides_in_it(drawings):
    table = made_profile(UGLY).curves["harmonics"]
    levels, tones, thd, limit, _ = cells_of(table)
    assert thd.shape == (len(tones), len(levels))
    written = texts(drawings["colour-map"])
    for row, column in ((0, 0), (len(tones) - 1, len(levels) - 1)):
        seen = np.isfinite(thd[row, column])
        value = thd[row, column] if seen else limit[row, column]
        assert f"{'' if seen else '< '}{value:.0f}".replace("-", "−") in written
    every = len(tones)  # rows run through the tones of each level
    one_tone = Table({name: column[::every] for name, column in table.columns.items()}, table.units)
    assert has_cells(table) and not has_cells(one_tone)


def test_the_card_writes_every_level_that_matters(drawings):
    written = " ".join(texts(drawings["colour-card"]))
    for label in ("THD at reference", "Colour from", "0.1 % distortion at", "Gain ripple's share"):
        assert label in written
    assert in_words(made_profile(UGLY), "colour.thd_at_reference") in written
