import io
import re
import xml.etree.ElementTree as ET

import matplotlib as mpl
import numpy as np
import pytest
from made_profiles import UGLY, B, made_profile

from charprobe.publishing.figures.look.drawing import save_drawing
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, settings
from charprobe.publishing.figures.static import draw_static
from charprobe.values.errors import OutputError


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


def test_words_stand_in_vector_files_where_the_figure_has_them():
    """Vector files are drawn from kept strokes; laid out anew, the same figure has its words at the same places."""
    drawing, anew = draw_static(made_profile(B), ARTICLE_LOOK), io.BytesIO()
    with settings(ARTICLE_LOOK):
        drawing.figure.savefig(anew, format="svg")
    places = [
        np.array(re.findall(r"translate\(([\d.]+) ([\d.]+)\) scale", svg.decode()), dtype=float)
        for svg in (drawing.rendered("svg"), anew.getvalue())
    ]
    assert len(places[0]) > 20
    # in points: kept ones were laid out by widths of letters in whole pixels, 0.36 points each, some letters a word
    np.testing.assert_allclose(places[0], places[1], rtol=0, atol=1.5)
