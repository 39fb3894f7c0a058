"""The README's example is real: its commands run, and its lines are lines of their output."""

import re
from pathlib import Path

from commands import good
from near import near

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def test_the_example_runs_and_prints_what_it_shows(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    block = re.search(r"```console\n(.*?)```", README, re.S).group(1)
    heard = ""
    for line in block.splitlines():
        if line.startswith("$ charprobe "):
            heard = good(*line.split()[2:]).stdout
        else:
            assert any(near(line, one) for one in heard.splitlines()), f"{line}\n{heard}"
    kinds = {path.suffix for path in (tmp_path / "figures").iterdir()}
    assert {".svg", ".png", ".pdf"} <= kinds


def test_everything_the_readme_links_to_is_there():
    for target in re.findall(r"\]\(([^)]+)\)", README):
        assert (Path(__file__).parents[1] / target).exists(), target
