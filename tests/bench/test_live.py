"""The real thing: PortAudio through a sound server, a compressor in the loop, a person at a pseudo-terminal."""

import json
import os
import re
import signal
import sys

import numpy as np
import pytest

from charprobe.files.sound.sound_file import open_capture
from charprobe.measuring.measure import measure
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out
from tests.bench.jack_rig import jack_rig
from tests.bench.person import Person
from tests.needs import need_programs

pytestmark = pytest.mark.live

RECIPE = """schema = "charprobe.recipe/1"
name = "short"
summary = "steps and bursts"
[[segment]]
kind = "level_steps"
name = "steps"
frequency_hz = 997
from_dbfs = -40
to_dbfs = -4
step_db = 4
step_s = 0.2
gap_s = 0.5
[[segment]]
kind = "bursts"
name = "reference"
carrier_hz = 3989
phases = 3
low_dbfs = -40
high_dbfs = -4
lead_s = 0.12
hold_s = 0.2
release_s = 0.5
reference = true
"""
STATED_RATIO = 3.0
SETTINGS = {
    "voice": {"ratio": 3.0, "threshold": -24.0, "attack_s": 0.004, "release_s": 0.06},
    "drum": {"ratio": 6.0, "threshold": -20.0, "attack_s": 0.001, "release_s": 0.03},
    "bass": {"ratio": 2.0, "threshold": -30.0, "attack_s": 0.006, "release_s": 0.05},
    # a foreign effect: peak detector, 5 ms, 40 ms, −18 dBFS, ratio, knee of 3 dB, 2 dB of gain
    "effect": {"plugin": ["sc4m_1916", "sc4m", (0, 5, 40, -18, STATED_RATIO, 3, 2)]},
}


@pytest.fixture(scope="module")
def rig(tmp_path_factory):
    need_programs("jackd", "jack_lsp", why="plays and records for real")
    with jack_rig(tmp_path_factory.mktemp("jack")) as made:
        yield made


def at_the_bench(rig, folder, *options):
    command = [sys.executable, "-m", "charprobe", "record", "review/session.toml", "--play", "strip"]
    return Person([*command, "--outputs", "1", "--inputs", "1", *options], cwd=folder, env=rig.env)


def answers(person, settings=("drum",)):
    """Answer the questions that make a session file."""
    for answer in ("Field strip", "", "", "", "12 o'clock", ", ".join(settings), "../short.toml"):
        person.hears(r"\]: ")
        person.types(answer)
    person.hears("patch around")
    person.types("n")


def goes_on(person, rig):
    """Do what is asked, until no take is asked for any more; return the names."""
    names = []
    while True:
        match = person.hears(r"\d+ of \d+  (\S+) \d+ |\"complete\"|Error|Stopped")
        if match[1] is None:
            return names
        names.append(match[1])
        rig.turn(**SETTINGS.get(match[1], {}))
        person.hears(r"q stop\] ")
        person.types()
        person.hears(r"Enter = keep")
        person.types()


def test_a_session_is_walked_through_from_the_first_question_to_captures_that_tell_the_truth(rig, tmp_path):
    (tmp_path / "short.toml").write_text(RECIPE)
    person = at_the_bench(rig, tmp_path, "--no-second", "--probe", "--level", "0", "--no-publish", "--json")
    answers(person, SETTINGS)
    person.hears("Type yes")
    person.types("yes")
    for _ in range(2):
        person.hears("Play .*Enter = yes")
        person.types()
    person.hears("Play .*Enter = yes")
    person.types("n")
    assert goes_on(person, rig) == ["bypass", "bypass", *SETTINGS, "voice", "bypass"]
    assert person.ends() == 0
    folder = tmp_path / "review"
    off = open_capture(folder / "path" / "bypass.wav")
    for take, (name, knobs) in enumerate(SETTINGS.items(), start=1):
        stimulus = lay_out(load_recipe(tmp_path / "short.toml"), rate_hz=48_000, take=take)
        ratio = measure(open_capture(folder / "captures" / f"{name} 1.wav"), stimulus, bypass=off)[
            "static.ratio"
        ]
        truth = knobs.get("ratio", STATED_RATIO)
        reach = 0.0 if "ratio" in knobs else 0.002 * truth  # what an effect states it keeps to so far only
        assert ratio.low - reach <= truth <= ratio.high + reach, (name, ratio)
    rows = [json.loads(line) for line in (folder / "takes.jsonl").read_text().splitlines()]
    assert [row["ending"] for row in rows] == ["whole"] * 8
    assert all(row["kept"] for row in rows)
    assert re.search(r"input 1: \+2\.7\d dB against the bypass", person.heard)  # the device's make-up


def test_ctrl_c_and_a_dead_server_lose_no_take_and_hang_nowhere(tmp_path):
    need_programs("jackd", "jack_lsp", why="plays and records for real")
    (tmp_path / "short.toml").write_text(RECIPE)
    with jack_rig(tmp_path, name="dying") as rig:
        interrupted(rig, tmp_path)
    kept = sorted((tmp_path / "review" / "set aside").iterdir())
    assert [path.name for path in kept] == ["bypass partial 1.wav", "bypass partial 2.wav"]
    assert all(open_capture(path).frames > 0 for path in kept)
    assert not list((tmp_path / "review" / "coming in").iterdir())


def interrupted(rig, tmp_path):
    """Ctrl-C in the first take, and a server that stops in the second."""
    person = at_the_bench(rig, tmp_path, "--no-second", "--no-probe")
    answers(person)
    person.hears("Type yes")
    person.types("yes")
    person.hears(r"q stop\] ")
    person.types()
    person.hears("s left")
    person.presses_ctrl_c()
    person.hears("stopped by hand")
    person.hears(r"Enter = retake.*q stop\] ")
    person.types()
    person.hears(r"Enter = play.*q stop\] ")
    person.types()
    person.hears("s left")
    rig.server.send_signal(signal.SIGSTOP)
    try:
        person.hears("does not answer")
        assert person.ends() == 1
    finally:
        rig.server.send_signal(signal.SIGCONT)


def test_a_loop_back_is_exact_to_the_bit(rig, tmp_path, monkeypatch):
    for name in ("JACK_DEFAULT_SERVER", "JACK_NO_START_SERVER"):
        monkeypatch.setenv(name, rig.env[name])
    code = (
        "import numpy as np, pathlib\n"
        "from charprobe.bench.devices import Patch, find_device, list_devices\n"
        "from charprobe.bench.stream import record_take\n"
        "found = find_device('loopback', 'play', list_devices())\n"
        "rig = Patch(found, found, 48000, (1, 2), (1, 2))\n"
        "sound = 0.2 * np.random.default_rng(5).standard_normal((96000, 2))\n"
        "end = record_take(rig, sound, pathlib.Path('take.wav'), meter=lambda **_: None)\n"
        "assert end.ending == 'whole', end\n"
    )
    person = Person([sys.executable, "-c", code], cwd=tmp_path, env=os.environ | rig.env)
    assert person.ends() == 0, person.heard
    sound = (0.2 * np.random.default_rng(5).standard_normal((96_000, 2))).astype(np.float32)
    came = open_capture(tmp_path / "take.wav").read_frames(0, 10**9)
    at = int(np.flatnonzero(came[:, 0])[0])
    np.testing.assert_array_equal(came[at : at + 96_000], sound)
