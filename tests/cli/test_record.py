"""A sitting by the command itself, on a sound system made up: every question, both passes, and the pages."""

import json

import pytest
from click.testing import CliRunner

from charprobe.bench import second_pass
from charprobe.cli import main
from charprobe.files.folder_lock import folder_lock
from charprobe.files.sound.sound_file import open_capture
from tests.bench.fake_sound import installed, noisy_wire

SHORT = """schema = "charprobe.recipe/1"
name = "short"
summary = "a few steps"
[[segment]]
kind = "level_steps"
name = "steps"
frequency_hz = 997
from_dbfs = -40
to_dbfs = -4
step_db = 12
step_s = 0.2
"""
ASKED = ["Field strip", "", "", "", "", "voice", "short.toml", "n"]


@pytest.fixture
def at(tmp_path, monkeypatch):
    """Run the command in an empty folder with a recipe, on a wire with noise; lines are what is typed."""
    (tmp_path / "short.toml").write_text(SHORT, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    sound = installed(monkeypatch, device=noisy_wire())

    def run(*options, typed=()):
        lines = "".join(f"{line}\n" for line in typed)
        return CliRunner().invoke(main, ["record", "session.toml", "--play", "strip", *options], input=lines)

    run.sound, run.folder = sound, tmp_path
    return run


def test_a_whole_sitting_with_both_passes_ends_in_its_pages(at, monkeypatch):
    monkeypatch.setattr(second_pass, "LONGEST_S", 20.0)
    done = at("--no-probe", "--second", "--json", typed=[*ASKED, "yes", *[""] * 40])
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["complete"]
    assert [take["take"] for take in told["takes"]] == ["bypass 1", "bypass 2", "voice 1", "voice 2"]
    pages = [
        at.folder / "published" / "page.html",
        at.folder / "second pass" / "voice" / "published" / "page.html",
    ]
    assert told["pages"] == [str(page) for page in pages]
    assert all(page.is_file() for page in pages)
    again = at("--no-second", "--no-publish", "--json", typed=[])
    assert json.loads(again.stdout)["takes"] == told["takes"]
    assert len(at.sound.streams) == 6


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
    assert "3 of 4 takes are missing" in done.stderr
    assert open_capture(at.folder / "path" / "bypass.wav").frames > 0


@pytest.mark.parametrize("answers", range(len(ASKED) + 3))
def test_the_end_of_the_terminal_at_any_question_stops_plays_nothing_more_and_loses_nothing(at, answers):
    done = at("--probe", typed=[*ASKED, "yes", ""][:answers])
    assert done.exit_code == 1
    assert done.stderr.count("Error:") == 1
    assert "Traceback" not in done.output
    assert len(at.sound.streams) == (answers == len(ASKED) + 2)
    assert (at.folder / "session.toml").is_file() == (answers >= len(ASKED))


def test_what_was_declined_in_the_probe_is_not_played_later(at):
    done = at("--probe", typed=[*ASKED, "yes", "", "", "n", "q"])
    assert "Nothing louder than -30 dBFS will be played" in done.stderr
    assert "played at -29 dB" in done.stderr
    assert json.loads((at.folder / "rig.json").read_text())["level_db"] == -29.0


def test_two_sittings_in_one_folder_do_not_touch_each_others_takes(at):
    (at.folder / "coming in").mkdir()
    (at.folder / "coming in" / "voice 1.wav").write_bytes(b"of the other sitting")
    with folder_lock(at.folder):
        done = at("--no-probe", typed=ASKED)
    assert done.exit_code == 1
    assert "in use by another run" in done.stderr
    assert (at.folder / "coming in" / "voice 1.wav").read_bytes() == b"of the other sitting"


def test_a_device_that_another_program_holds_is_told_and_the_next_run_goes_on(at):
    at.sound.refuses = "Device unavailable"
    done = at("--no-probe", typed=[*ASKED, "yes", ""])
    assert done.exit_code == 1
    assert "is another program using them" in done.stderr
    at.sound.refuses = None
    assert "1 of 4" in at("--no-probe", typed=["yes", "", "", "q"]).stderr
    assert (at.folder / "path" / "bypass.wav").is_file()


def test_quiet_leaves_questions_verdicts_and_warnings(at):
    done = CliRunner().invoke(
        main,
        ["-q", "record", "session.toml", "--play", "strip", "--no-probe"],
        input="\n".join([*ASKED, "yes", "", "", "q"]),
    )
    assert "KEEP" in done.stderr
    for quiet in ("Written to", "Plays strip", "Stopped:", "s left"):
        assert quiet not in done.stderr
