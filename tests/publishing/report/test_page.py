import dataclasses
import re
from base64 import b64encode
from collections import Counter
from hashlib import sha256
from pathlib import PurePosixPath

import pytest
from made_profiles import UGLY, UGLY_NAME, B, made_profile
from publishing.report.one_page import TITLE
from publishing.report.reader import Reader

from charprobe.publishing.figures.look.palette import DARK, LIGHT, contrast
from charprobe.publishing.report.page import Beside, render_page
from charprobe.publishing.report.truth_row import TruthRow
from charprobe.values.quantity import Quantity


def test_nothing_is_loaded_from_anywhere(page, read):
    assert set(re.findall(r"https?:[^\s\"'<>]+", page)) == {"http://www.w3.org/2000/svg"}  # a mere name
    for tag, attributes in read.elements:
        assert tag not in {"link", "iframe", "img", "object", "embed", "base", "form"}
        assert not any(name.startswith("on") for name in attributes)
        assert "src" not in attributes
        assert attributes.get("href", "#").startswith(("#", "./"))
    assert "default-src 'none'" in page
    assert "@import" not in page
    assert not re.findall(r"url\((?!#|data:font/woff;)", page)


def test_only_the_scripts_of_the_page_may_run(page):
    rule = re.search(r"script-src([^;\"]*)", page)[1].split()
    scripts = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    seals = [f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'" for text in scripts]
    assert len(scripts) >= 2
    assert rule == seals


def test_the_users_text_is_escaped_and_literal(page, read):
    assert "<script>alert" not in page
    assert "<b>" not in re.sub(r"<script.*?</script>", "", page, flags=re.DOTALL)
    text = "".join(read.text)
    assert TITLE in text
    assert "a <b> c" in text
    assert "run & go" in text
    assert UGLY_NAME.replace("\n", "↵") in text
    labels = [attributes["aria-label"] for _, attributes in read.elements if "aria-label" in attributes]
    assert any(UGLY_NAME.replace("\n", "↵") in label for label in labels)


def test_ids_are_unique_and_every_reference_is_answered(page, read):
    ids = Counter(attributes["id"] for _, attributes in read.elements if "id" in attributes)
    assert [name for name, count in ids.items() if count > 1] == []
    wanted = {a["href"][1:] for _, a in read.elements if a.get("href", "").startswith("#")}
    wanted |= {a["popovertarget"] for _, a in read.elements if "popovertarget" in a}
    wanted |= set(re.findall(r"url\(#([^)]+)\)", page))
    assert wanted <= set(ids)


def test_every_picture_has_words(read):
    pictures = [attributes for tag, attributes in read.elements if tag == "svg"]
    assert len(pictures) > 20
    for attributes in pictures:
        assert attributes.get("aria-hidden") == "true" or len(attributes["aria-label"]) > 15


def test_figures_take_their_colours_from_the_page(page):
    for svg in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        assert not re.findall(r"#[0-9a-f]{6}\b", svg)
    for name in set(re.findall(r"var\((--[a-z0-9-]+)\)", page)):
        assert page.count(f"{name}:") == 2, name  # defined for light and for dark


def test_two_runs_give_the_same_bytes_and_the_page_is_kept_unless_forced(tmp_path):
    profile = made_profile(UGLY)
    few = dataclasses.replace(
        profile, curves={name: profile.curves[name] for name in ("static", "harmonics")}
    )
    pages = [render_page([few], title="x") for _ in range(2)]
    assert pages[0] == pages[1]


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_text_on_every_ground_of_the_page_has_contrast(palette):
    for ground in (palette.paper, palette.shade):
        assert contrast(palette.ink, ground) >= 7.0
        assert contrast(palette.soft, ground) >= 4.5


def test_files_beside_the_page_are_linked_below_it_and_nowhere_else():
    files = [Beside(PurePosixPath('tables/of "a" & b%/values.csv'), "all <b> numbers")]
    page = render_page([made_profile(B)], title="x", files=files)
    reader = Reader()
    reader.feed(page)
    linked = [a["href"] for _, a in reader.elements if a.get("href", "").startswith("./")]
    assert linked == ["./tables/of%20%22a%22%20%26%20b%25/values.csv"]
    assert "all <b> numbers" in "".join(reader.text)
    for outside in ("/etc/passwd", "../x.csv", "a/../../x.csv"):
        with pytest.raises(ValueError, match="does not lie below"):
            Beside(PurePosixPath(outside), "x")


def test_a_true_ratio_stands_close_to_its_one():
    row = TruthRow("B", "static.ratio", 4.0, ":1", Quantity(3.99, 3.97, 4.03, ":1"), 0.1)
    assert "<td>4:1</td>" in render_page([made_profile(B)], title="x", truth=[row])
