"""A sitting by the command itself, on a sound system made up; lines are what is typed."""

import os
import sys

from click.testing import CliRunner

from charprobe.cli import main
from tests.bench.fake_sound import installed, noisy_wire
from tests.bench.rigs import SHORT

ASKED = ["Field strip", "", "", "", "", "voice", "short.toml", "n"]


def sitting_in(tmp_path, monkeypatch):
    """Run the command in an empty folder with a recipe, on a wire with noise; lines are what is typed."""
    (tmp_path / "short.toml").write_text(SHORT, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    own, leave = os.getpid(), os._exit  # those forked from here leave as they would
    monkeypatch.setattr(os, "_exit", lambda code: sys.exit(code) if os.getpid() == own else leave(code))
    sound = installed(monkeypatch, device=noisy_wire())

    def run(*options, typed=()):
        lines = "".join(f"{line}\n" for line in typed)
        return CliRunner().invoke(main, ["record", "session.toml", "--play", "strip", *options], input=lines)

    run.sound, run.folder = sound, tmp_path
    return run
