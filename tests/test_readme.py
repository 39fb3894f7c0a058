"""The README's example is real: its commands run, and its lines are lines of their output."""

import os
import re
import subprocess
import sys
from pathlib import Path

from near import near

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def test_the_example_runs_and_prints_what_it_shows(tmp_path):
    block = re.search(r"```console\n(.*?)```", README, re.S).group(1)
    heard = ""
    environment = os.environ | {"PYTHONIOENCODING": "utf-8"}
    for line in block.splitlines():
        if not line.startswith("$ charprobe "):
            assert any(near(line, one) for one in heard.splitlines()), f"{line}\n{heard}"
            continue
        command = [sys.executable, "-m", "charprobe", *line.split()[2:]]
        done = subprocess.run(
            command, cwd=tmp_path, capture_output=True, encoding="utf-8", env=environment, check=False
        )
        assert done.returncode == 0, done.stderr
        heard = done.stdout
    kinds = {path.suffix for path in (tmp_path / "figures").iterdir()}
    assert {".svg", ".png", ".pdf"} <= kinds


def test_everything_the_readme_links_to_is_there():
    for target in re.findall(r"\]\(([^)]+)\)", README):
        assert (Path(__file__).parents[1] / target).exists(), target
