import xml.etree.ElementTree as ET

import matplotlib as mpl
import pytest
from made_profiles import UGLY, B, made_profile

from charprobe.publishing.figures.look.drawing import save_drawing
from charprobe.publishing.figures.look.style import ARTICLE_LOOK
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
