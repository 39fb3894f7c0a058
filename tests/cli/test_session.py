import pytest
from click.testing import CliRunner

from charprobe.cli import main
from charprobe.session.file import STARTER


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return lambda *arguments: CliRunner().invoke(main, ["session", *arguments])


def test_new_writes_a_starter_and_keeps_one_that_is_there(run, tmp_path):
    assert run("--new", "s.toml").exit_code == 0
    assert (tmp_path / "s.toml").read_text(encoding="utf-8") == STARTER
    refused = run("--new", "s.toml")
    assert refused.exit_code == 1
    assert "already exists" in refused.output


def test_plan_counts_what_is_to_be_captured_and_measures_nothing(run, tmp_path):
    run("--new", "s.toml")
    planned = run("s.toml", "--plan")
    assert planned.exit_code == 0
    assert "4 of 4 captures to go" in planned.output
    assert "headphones off" in planned.output
    assert [path.name for path in tmp_path.iterdir()] == ["s.toml"]


def test_missing_captures_are_one_clear_message_and_leave_nothing(run, tmp_path):
    run("--new", "s.toml")
    failed = run("s.toml", "--out", "out")
    assert failed.exit_code == 1
    assert "captures are not there" in failed.output
    assert "Traceback" not in failed.output
    assert not (tmp_path / "out").exists()


def test_without_a_place_to_write_it_is_misused(run):
    run("--new", "s.toml")
    assert run("s.toml").exit_code == 2


def test_a_missing_session_names_the_way_to_a_starter(run):
    failed = run("no.toml", "--out", "out")
    assert failed.exit_code == 1
    assert "--new" in failed.output
