"""Questions before the first take, and the level probe."""

import json

import pytest

from charprobe.files.sound.sound_file import open_capture
from tests.bench.fake_sound import noisy_wire
from tests.cli.sittings import ASKED, sitting_in


@pytest.fixture
def at(tmp_path, monkeypatch):
    return sitting_in(tmp_path, monkeypatch)


def test_an_answer_that_cannot_be_is_asked_again_and_costs_nothing(at):
    typed = [
        "", "", "", "", "\x1b[31m", "12 o'clock", ",", "a,a", "voice", "no such", "short.toml", "maybe", "n",
        "sure", "yes", "x", "", "what", "k", "q",
    ]  # fmt: skip
    done = at("--no-probe", typed=typed)
    assert done.exit_code == 1
    said = " ".join(done.stderr.split())
    for says in (
        "cannot be read",
        "an answer is needed",
        "two settings are called 'a'",
        "no such",
        "'maybe' is none",
    ):
        assert says in said, said
    assert "'x' is none of the answers" in done.stderr
    assert "'what' is none of the answers" in done.stderr
    assert "4 of 5 takes are missing" in done.stderr
    assert open_capture(at.folder / "path" / "bypass.wav").frames > 0


def test_what_was_declined_in_the_probe_is_not_played_later(at):
    done = at("--probe", typed=[*ASKED, "yes", "", "", "n", "q"])
    assert "Nothing louder than -30 dBFS will be played" in done.stderr
    assert "turned down by 29 dB" in done.stderr
    assert json.loads((at.folder / "rig.json").read_text())["level_db"] == -29.0


def test_cables_that_are_exchanged_are_named_by_the_probe_before_any_take(at):
    at.sound.channels, at.sound.device = 2, lambda block: noisy_wire()(block)[:, ::-1]
    said = " ".join(at("--probe", typed=[*ASKED, "yes", "", "n", "q"]).stderr.split())
    assert "cables are exchanged: input 1 hears output 2, input 2 hears output 1" in said
    assert "--inputs 2,1" in said
