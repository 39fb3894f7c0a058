"""A whole session in a real browser, by keyboard, from the sounds to the saved result."""

import base64
import json
import os
import time
from pathlib import Path

import browser
import numpy as np
import pytest

from charprobe.files.sound.sound_file import write_wav
from charprobe.listening.blind.pages import PAGE, make_pack
from charprobe.listening.blind.score import score

LEFT, RIGHT, DOWN, ENTER = "\ue012", "\ue014", "\ue015", "\ue007"
RATE_HZ = 48_000
pytestmark = pytest.mark.browser

LEVELS = """
return Object.fromEntries(Object.entries(playing.seats).map(([k, s]) => [k, s.gain.gain.value]));
"""
# what each seat really plays: spectral line of the sound's own tone, 500 Hz in one, 800 Hz in the other
TONES = """
return Object.fromEntries(Object.entries(playing.seats).map(([seat, s]) => {
  const x = s.source.buffer.getChannelData(0); let best = null;
  for (const f of [500, 800]) { let re = 0, im = 0;
    for (let n = 0; n < x.length; n += 1) { const w = 2 * Math.PI * f * n / 48000; re += x[n] * Math.cos(w); im += x[n] * Math.sin(w); }
    const p = re * re + im * im; if (!best || p > best[1]) { best = [f, p]; } }
  return [seat, best[0]]; }));
"""


@pytest.fixture
def pack(tmp_path, rng):
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    (tmp_path / "pair").mkdir()
    for name, tone_hz in (("dry", 500), ("processed", 800)):
        samples = 0.1 * np.sin(2 * np.pi * tone_hz * t)[:, None]
        write_wav(tmp_path / "pair" / f"{name}.wav", samples, rate_hz=RATE_HZ, subtype="pcm24", force=False)
    return make_pack(
        tmp_path / "pair",
        tmp_path / "pack",
        key_path=tmp_path / "key.json",
        trials=5,
        controls=1,
        start_s=None,
        length_s=1.0,
        rng=rng,
        force=False,
    )


@pytest.fixture
def page(tmp_path):
    (tmp_path / "downloads").mkdir()
    opened = browser.Browser(tmp_path / "downloads")
    yield opened
    opened.close()


def keep_picture(page, name):
    if folder := os.environ.get("CHARPROBE_PICTURES"):
        (Path(folder) / f"{name}.png").write_bytes(base64.b64decode(page.picture()))


def listen_to_all(page):
    for key, seat in ((LEFT, "left"), (DOWN, "middle"), (RIGHT, "right")):
        page.press(key)
        page.wait(f"return playing.seat === '{seat}' && playing.seats.{seat}.gain.gain.value === 1")
        others = [value for name, value in page.run(LEVELS).items() if name != seat]
        assert others == [0, 0]
        time.sleep(1.05)


def test_a_whole_session_by_keyboard(tmp_path, pack, page):
    page.open(pack.folder / PAGE)
    keep_picture(page, "1-load")
    sounds = sorted((pack.folder / "sounds").iterdir())
    page.give_files("#files", sounds[:-1])
    page.wait("return document.getElementById('loadsays').textContent.includes('1 of')")
    page.give_files("#files", sounds)
    page.wait("return !document.getElementById('level').hidden")
    keep_picture(page, "2-level")
    assert page.run("return document.getElementById('begin').disabled")
    assert "Mind your ears" in page.run("return document.getElementById('level').innerText")
    page.press(" ")
    page.wait("return !document.getElementById('begin').disabled")
    page.press(ENTER)
    for number, trial in enumerate(pack.key.trials):
        page.wait(f"return document.getElementById('number').textContent === '{number + 1} of 6'")
        page.press(ENTER)  # nothing heard, nothing answered: stays
        assert page.run("return trial") == number
        listen_to_all(page)
        tones = page.run(TONES)
        expected = {"dry": 500, "processed": 800}
        assert tones["left"] == expected[trial.left]
        assert tones["right"] == expected[trial.right]
        assert tones["middle"] == expected[trial.left if trial.middle == "left" else trial.right]
        same = "left" if tones["middle"] == tones["left"] else "right"
        page.press("a" if same == "left" else "l")
        page.press("3" if not trial.control else "1")
        if number == 0:
            keep_picture(page, "3-round")
        page.wait("return !document.getElementById('next').disabled")
        page.press(ENTER)
    page.wait("return !document.getElementById('end').hidden")
    keep_picture(page, "4-end")
    page.press(ENTER)
    result = tmp_path / "downloads" / f"result-{pack.key.pack}.json"
    for _ in range(100):
        if result.exists():
            break
        time.sleep(0.1)
    found = score(result, key_path=pack.key_path)
    assert (found.hits, found.trials, found.controls, found.sure_controls) == (5, 5, 1, 0)
    answers = json.loads(result.read_text())["answers"]
    assert all(answer["switches"] == 2 and answer["seconds"] > 3 for answer in answers)


def test_switching_keeps_the_place_and_leaves_no_gap(pack, page):
    page.open(pack.folder / PAGE)
    page.give_files("#files", sorted((pack.folder / "sounds").iterdir()))
    page.wait("return !document.getElementById('level').hidden")
    page.press(" ")
    page.press(ENTER)
    page.wait("return !!playing && 'left' in playing.seats")
    started = page.run("return [playing.at, Object.values(playing.seats).map((s) => s.source.loop)]")
    assert started[1] == [True, True, True]  # all three run from one start, so the place is always the same
    page.press(LEFT)
    page.press(RIGHT)
    assert page.run("return playing.at") == started[0]
    page.press(" ")
    page.wait("return context.state === 'suspended'")
    still = page.run("return context.currentTime")
    time.sleep(0.2)
    assert page.run("return context.currentTime") == still


def test_a_foreign_file_is_refused(tmp_path, pack, page):
    sounds = sorted((pack.folder / "sounds").iterdir())
    data = bytearray(sounds[0].read_bytes())
    data[-1] ^= 1
    sounds[0].write_bytes(bytes(data))
    page.open(pack.folder / PAGE)
    page.give_files("#files", sounds)
    page.wait("return document.getElementById('loadsays').textContent.includes('is not the file')")
