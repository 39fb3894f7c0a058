import html
import json
import re
import subprocess
from functools import cache

import pytest
from needs import need_programs

pytestmark = pytest.mark.browser
PROBE = """<script>
addEventListener("load", () => {
  const wide = [...document.querySelectorAll("body *")].filter(
    (e) => !e.closest(".scroll, [popover], .skip, .spoken") && e.getBoundingClientRect().right > innerWidth + 1);
  document.querySelector("button.term").click();
  const open = document.querySelectorAll(":popover-open");
  const small = [...document.querySelectorAll("figure svg")].filter((e) => e.getBoundingClientRect().width < 500);
  document.title = JSON.stringify({
    over: document.documentElement.scrollWidth - innerWidth, wide: wide.map((e) => e.tagName + "." + e.className),
    open: open.length, opened: open.length ? open[0].innerText : "", small: small.length,
    paper: getComputedStyle(document.body).backgroundColor });
});
</script>"""


@pytest.fixture(scope="module")
def probed(page, tmp_path_factory):
    """The page with a probe in it that writes what it finds into the title."""
    path = tmp_path_factory.mktemp("page") / "page.html"
    path.write_text(re.sub(r"<meta http-equiv[^>]*>", PROBE, page, count=1), encoding="utf-8")
    return path


@cache
def findings(path, width, *flags):
    need_programs("chromium", why="Debian package chromium")
    command = [
        "chromium",
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        *flags,
        f"--user-data-dir={path.parent}/u",
    ]
    command += [f"--window-size={width},1200", "--virtual-time-budget=3000", "--dump-dom", path.as_uri()]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)

    return json.loads(html.unescape(re.search(r"<title>(.*?)</title>", done.stdout, re.DOTALL)[1]))


@pytest.mark.parametrize("width", [1280, 500])
def test_nothing_runs_out_of_the_page_and_figures_stay_readable(probed, width):
    found = findings(probed, width)
    assert found["over"] <= 0
    assert found["wide"] == []
    assert found["small"] == 0


def test_a_term_opens_its_definition(probed):
    found = findings(probed, 1280)
    assert found["open"] == 1
    assert "tangents" in found["opened"]


def test_the_page_follows_the_readers_dark_setting(probed):
    assert findings(probed, 1280)["paper"] == "rgb(255, 255, 255)"
    assert findings(probed, 1280, "--force-dark-mode")["paper"] != "rgb(255, 255, 255)"
