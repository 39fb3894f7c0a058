"""What runs in a page: sounds play and switch without a gap, charts are read, zoomed and thinned out."""

import numpy as np
import pytest
from browser import Browser
from made_profiles import B, D, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.publishing.listen.tracks import Listening, Sound, equally_loud
from charprobe.publishing.report.page import render_page

pytestmark = pytest.mark.browser
RATE_HZ = 48_000


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page")
    tone = np.sin(2 * np.pi * 440 * np.arange(6 * RATE_HZ) / RATE_HZ)
    sounds = [Sound("dry", None, 0.1 * tone), Sound(B.name, 0, 0.2 * tone), Sound(D.name, 1, 0.4 * tone)]
    tracks = equally_loud(sounds, rate_hz=RATE_HZ)
    close = ("B – slow: −71 dB from the capture",)
    listening = [
        Listening(tracks, RATE_HZ, "As recorded", "A tone.", folder="first"),
        Listening(tracks, RATE_HZ, "Through replicas", "Not recorded.", notes=close, folder="second"),
    ]
    for one in listening:
        one.write(folder, force=False)
    profiles = [made_profile(setting) for setting in (B, D)]
    page = render_page(
        profiles, title="x", comparison=compare_profiles(profiles), listening=listening, sounds_beside=True
    )
    (folder / "page.html").write_text(page, encoding="utf-8")
    shown = Browser(folder)
    shown.open(folder / "page.html")
    yield shown
    shown.close()


def drag(browser, start, stop):
    moves = [
        {"type": "pointerMove", "x": start[0], "y": start[1], "duration": 0},
        {"type": "pointerDown", "button": 0},
        {"type": "pointerMove", "x": stop[0], "y": stop[1], "duration": 100},
        {"type": "pointerUp", "button": 0},
    ]
    actions = [{"type": "pointer", "id": "mouse", "parameters": {"pointerType": "mouse"}, "actions": moves}]
    browser.ask("POST", browser.session + "/actions", {"actions": actions})


def player(number, what):
    return f"return document.querySelectorAll('.player')[{number}]{what}"


def heard_s(number):
    return (
        player(number, ".querySelector('.heard').textContent").replace("return ", "return parseFloat(") + ")"
    )


def test_sounds_play_switch_at_the_same_place_and_stop(browser):
    assert browser.run(player(0, ".querySelectorAll('.seat').length")) == 3
    browser.press(" ")
    browser.wait(player(0, ".dataset.state === 'playing'"))
    browser.wait(heard_s(0) + " > 0.3")
    before = browser.run(heard_s(0))
    browser.press("2")
    assert browser.run(player(0, ".dataset.chosen")) == "2"
    assert 0 <= browser.run(heard_s(0)) - before < 2.0  # it went on where it was
    assert browser.run(player(0, ".dataset.state")) == "playing"
    browser.run(player(1, ".querySelector('.play').focus()"))
    browser.run(player(1, ".querySelector('.play').click()"))
    browser.wait(player(1, ".dataset.state === 'playing'"))
    assert browser.run(player(0, ".dataset.state")) == "paused"  # never two at once
    browser.press("1")  # keys follow to the player that was used last
    assert [browser.run(player(number, ".dataset.chosen")) for number in (0, 1)] == ["2", "1"]
    browser.press(" ")
    browser.wait(player(1, ".dataset.state === 'paused'"))


def test_charts_are_read_zoomed_and_thinned_out_and_the_figure_comes_back(browser):
    figure = "document.querySelector('[data-charts=static-overlay]')"
    browser.run(f"{figure}.querySelector('button.closer').click()")
    assert browser.run(f"return {figure}.querySelector('.scroll').hidden") is True
    chart = f"{figure}.querySelector('.charts > div')"
    browser.run(f"{chart}.scrollIntoView({{block: 'center'}})")
    box = browser.run(
        f"const r = {chart}.querySelector('.u-over').getBoundingClientRect();"
        "return [r.left, r.top, r.width, r.height]"
    )
    whole = browser.run(f"const s = {chart}.plot.scales.x; return [s.min, s.max]")
    left, top, width, height = (round(number) for number in box)
    drag(browser, (left + width // 4, top + height // 4), (left + width // 2, top + height // 2))
    browser.wait(f"const s = {chart}.plot.scales.x; return s.max - s.min < {0.6 * (whole[1] - whole[0])}")
    value = f"return {chart}.querySelector('.u-legend .u-series:nth-child(2) .u-value').textContent"
    assert browser.run(value) not in ("", "–", "--")
    browser.run(f"{chart}.querySelectorAll('.u-legend .u-series th')[1].click()")
    assert browser.run(f"return {chart}.plot.series[1].show") is False
    browser.run(f"{figure}.querySelector('button.closer').click()")
    assert browser.run(f"return {figure}.querySelector('.scroll').hidden") is False


LEAST_CONTRAST = """
const parts = (colour) => (colour.match(/[\\d.]+/g) || []).map(Number);
const light = (rgb) => {
  const [r, g, b] = rgb.map((v) => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  return 0.05 + 0.2126 * r + 0.7152 * g + 0.0722 * b;
};
const ground = (e) => {
  for (; e; e = e.parentElement) { const c = parts(getComputedStyle(e).backgroundColor); if (c.length === 3) return c; }
  return [255, 255, 255];
};
document.querySelectorAll("details").forEach((one) => { one.open = true; });
const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
let least = [21, ""];
for (let node = walk.nextNode(); node; node = walk.nextNode()) {
  const e = node.parentElement, style = getComputedStyle(e);
  if (!node.textContent.trim() || e.closest("script, style") || !e.checkVisibility()) continue;
  const under = ground(e);
  let through = 1;
  for (let p = e; p; p = p.parentElement) through *= Number(getComputedStyle(p).opacity);
  const ink = parts(e.closest("svg") ? style.fill : style.color).slice(0, 3);
  const [a, b] = [light(ink.map((v, i) => v * through + under[i] * (1 - through))), light(under)];
  const ratio = Math.max(a, b) / Math.min(a, b);
  if (ratio < least[0]) least = [ratio, node.textContent.trim()];
}
return least;
"""


def told(browser, command, **what):
    return browser.ask("POST", browser.session + "/goog/cdp/execute", {"cmd": command, "params": what})


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_word_of_the_page_can_be_read(browser, scheme):
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    told(browser, "Emulation.setEmulatedMedia", features=features)
    ratio, words = browser.run(LEAST_CONTRAST)
    assert ratio >= 4.5, words  # what small text needs


def test_what_can_be_used_has_a_name_and_nothing_moves_by_itself(browser):
    nodes = told(browser, "Accessibility.getFullAXTree")["nodes"]
    used = ("button", "link", "radio", "radiogroup", "slider", "image")
    mine = [node for node in nodes if not node["ignored"] and node["role"]["value"] in used]
    assert {node["role"]["value"] for node in mine} == set(used)
    assert [node for node in mine if not node["name"]["value"].strip()] == []
    assert browser.run("return document.getAnimations().length") == 0


def test_the_first_keys_lead_past_the_head_to_the_results_and_down_the_page(browser):
    browser.run("location.reload()")
    browser.wait("return document.readyState === 'complete' && document.querySelector('.player')")
    places = []
    for _ in range(12):
        browser.press("\ue004")
        places.append(
            browser.run(
                "return document.activeElement.getAttribute('href') || document.activeElement.className"
            )
        )
    assert places[0] == "#main"
    assert places.index("#glance") < places.index("#listen") < places.index("#apart")
