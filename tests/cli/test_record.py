"""What becomes of a sitting that is stopped, doubled, refused or quiet."""

import pytest
from click.testing import CliRunner

from charprobe.cli import main
from charprobe.files.folder_lock import folder_lock
from tests.bench.fake_sound import noisy_wire
from tests.cli.sittings import ASKED, sitting_in


@pytest.fixture
def at(tmp_path, monkeypatch):
    return sitting_in(tmp_path, monkeypatch)


@pytest.mark.parametrize("answers", range(len(ASKED) + 3))
def test_the_end_of_the_terminal_at_any_question_stops_plays_nothing_more_and_loses_nothing(at, answers):
    done = at("--probe", typed=[*ASKED, "yes", ""][:answers])
    assert done.exit_code == 1
    assert done.stderr.count("Error:") == 1
    assert "Traceback" not in done.output
    assert len(at.sound.streams) == (answers == len(ASKED) + 2)
    assert (at.folder / "session.toml").is_file() == (answers >= len(ASKED))


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
    assert "1 of 5" in at("--no-probe", typed=["yes", "", "", "q"]).stderr
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


def test_a_session_file_that_is_edited_meanwhile_counts_from_the_next_run_on(at):
    wire = noisy_wire()

    def edited(block):
        (at.folder / "session.toml").write_text("not = [a session", encoding="utf-8")
        return wire(block)

    at.sound.device = edited
    assert "2 of 5" in at("--no-probe", typed=[*ASKED, "yes", "", "", "q"]).stderr
    assert (at.folder / "path" / "bypass.wav").is_file()
    refused = at("--no-probe")
    assert refused.exit_code == 1
    assert "not valid TOML" in refused.stderr
