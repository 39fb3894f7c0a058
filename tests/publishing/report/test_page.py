import dataclasses
import re
from base64 import b64encode
from collections import Counter
from dataclasses import dataclass
from hashlib import sha256
from html.parser import HTMLParser
from pathlib import PurePosixPath

import pytest
from made_profiles import LIMITER, TWO_STAGE, UGLY, UGLY_NAME, B, D, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.publishing.figures.look.palette import DARK, LIGHT, contrast
from charprobe.publishing.report.page import Beside, render_page, write_page
from charprobe.values.quantity import Quantity, Reading

TITLE = "Vellum <script>alert(1)</script> & $co"
VOID = {"meta", "br", "hr"}


@dataclass(frozen=True)
class Row:
    stage: str
    quantity: str
    truth: float
    unit: str
    reading: Reading
    verdict: str


class Reader(HTMLParser):
    """Reads a page, and fails where tags do not nest."""

    def __init__(self):
        super().__init__()
        self.open, self.elements, self.text = [], [], []

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        assert len(attrs) == len(dict(attrs)), f"{tag} has an attribute twice"
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


@pytest.fixture(scope="module")
def page():
    profiles = [made_profile(setting) for setting in (B, D, TWO_STAGE, UGLY)]
    truth = [Row(UGLY_NAME, "attack.t63", 0.005, "s", Quantity(0.00501, 0.0049, 0.0052, "s"), "good")]
    comparison = compare_profiles(profiles)
    return render_page(
        profiles, title=TITLE, about="a <b> c", comparison=comparison, truth=truth, command="run & go"
    )


@pytest.fixture(scope="module")
def read(page):
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


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


def test_every_term_can_be_reached_by_keyboard_and_has_its_definition(read):
    terms = [attributes for tag, attributes in read.elements if attributes.get("class") == "term"]
    assert len(terms) > 50
    assert all(attributes["title"].endswith(".") for attributes in terms)
    scrolled = [a for _, a in read.elements if a.get("class") == "scroll" and "aria-label" in a]
    assert all(attributes["tabindex"] == "0" for attributes in scrolled)


def test_figures_take_their_colours_from_the_page(page):
    for svg in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        assert not re.findall(r"#[0-9a-f]{6}\b", svg)
    for name in set(re.findall(r"var\((--[a-z0-9-]+)\)", page)):
        assert page.count(f"{name}:") == 2, name  # defined for light and for dark


def test_a_missing_number_has_its_reason_beside_it(read):
    text = "".join(read.text)
    assert "Release memory: Not measured: the recipe has no burst_lengths segment. Next: measure with" in text
    missing = [attributes["title"] for _, attributes in read.elements if attributes.get("class") == "missing"]
    assert any("the gain moves only after the edge. To settle it: none needed" in title for title in missing)


def test_sentences_verdicts_truth_and_warnings_are_on_the_page(read):
    text = "".join(read.text)
    assert "D – slower releases 3.1 times slower than B – slow" in text
    assert "≠ release" in text
    assert "Truth beside estimate" in text
    assert "5 ms" in read.text  # the true value, in the unit of its reading
    assert "Warning · unsettled" in text
    assert "[bypass.wav" not in text


def test_logarithmic_time_is_drawn_for_bent_recoveries_only(page):
    assert page.count("a logarithmic time axis") == 1  # the two-stage setting's


def test_parts_that_have_nothing_to_show_are_left_out():
    profile = dataclasses.replace(made_profile(LIMITER), curves={}, health=(), findings=())
    bare = render_page([profile], title="Bare")
    for heading in ("What sets them apart", "Laid over each other", "Truth beside estimate", "In small"):
        assert heading not in bare
    assert "Health: nothing found wrong." in bare


def test_two_runs_give_the_same_bytes_and_the_page_is_kept_unless_forced(tmp_path):
    pages = [render_page([made_profile(UGLY)], title="x") for _ in range(2)]
    assert pages[0] == pages[1]
    write_page(tmp_path / "page.html", pages[0], force=False)
    assert (tmp_path / "page.html").read_text(encoding="utf-8") == pages[0]


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
