import numpy as np
import pytest

from charprobe.cli import record_screen
from charprobe.cli.record_screen import LevelLine, say


@pytest.mark.parametrize("wide", [20, 40, 80, 200])
@pytest.mark.parametrize("channels", [1, 2, 8, 32])
def test_a_level_line_never_wraps_and_shows_the_highest_level_at_least(wide, channels, monkeypatch, capsys):
    monkeypatch.setattr(record_screen, "columns", lambda: wide)
    line = LevelLine("a setting with quite a long name 1")
    line.live, line.next = True, 0.0
    line(left_s=12.0, peaks=10 ** (np.linspace(-6.5, -60, channels) / 20))
    said = capsys.readouterr().err.removeprefix("\r")
    assert len(said) == wide - 1
    if wide >= 80:
        assert "-6.5 dBFS" in said
        assert said.count("dBFS") == (channels if channels < 3 or (wide == 200 and channels == 8) else 1)


def test_what_is_said_is_wrapped_to_the_terminal_and_commands_are_not_torn(monkeypatch, capsys):
    monkeypatch.setattr(record_screen, "columns", lambda: 40)
    say("cables are exchanged: input 1 hears output 2; swap them, or record with --inputs 2,1")
    lines = capsys.readouterr().err.splitlines()
    assert max(map(len, lines)) < 40
    assert len(lines) > 2
