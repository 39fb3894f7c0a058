from pathlib import Path

import click
from click.testing import CliRunner

from charprobe.cli.speaking import columns, progress, tell_files


@click.group()
@click.option("--quiet", is_flag=True)
def job(quiet):
    pass


@job.command()
def work():
    with progress(2, "Measuring") as done:
        done("voice")
        done("crowd")
    tell_files("drawn", [Path("figures/a.svg"), Path("figures/b.svg")])
    click.echo("answer")


def test_a_pipe_hears_a_line_a_part_and_files_are_told_in_one():
    heard = CliRunner().invoke(job, ["work"])
    assert heard.stderr.splitlines() == [
        "Measuring 1/2: voice",
        "Measuring 2/2: crowd",
        "drawn: 2 files in figures",
    ]
    assert heard.stdout == "answer\n"


def test_quiet_leaves_the_answer():
    heard = CliRunner().invoke(job, ["--quiet", "work"])
    assert (heard.stderr, heard.stdout) == ("", "answer\n")


def test_lines_are_as_wide_as_the_terminal_within_reason(monkeypatch):
    for terminal, wide in (("80", 80), ("200", 96), ("20", 60)):
        monkeypatch.setenv("COLUMNS", terminal)
        assert columns(96) == wide
