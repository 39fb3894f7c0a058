import re
from xml.etree import ElementTree

from made_profiles import UGLY, made_profile

from charprobe.publishing.figures.all_figures import profile_drawings
from charprobe.publishing.figures.look.style import ARTICLE_LOOK
from charprobe.publishing.report.inline_svg import inline_svg


def test_a_figure_has_ids_of_its_own_colours_of_the_page_and_a_spoken_name():
    drawing = next(iter(profile_drawings(made_profile(UGLY), ARTICLE_LOOK)))
    code = str(inline_svg(drawing, "p7"))
    root = ElementTree.fromstring(code)
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert ids and all(name.startswith("p7-") for name in ids)
    assert set(re.findall(r"url\(#([^)]+)\)", code)) <= set(ids)
    assert root.get("role") == "img" and len(root.get("aria-label")) > 15
    assert not re.findall(r"#[0-9a-f]{6}\b", code)
    assert "var(--ink)" in code
    assert "<?xml" not in code and "xlink" not in code and "\n" not in code
