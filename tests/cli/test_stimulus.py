import json
import os
import signal
import subprocess
import sys
import time

import pytest
from commands import good, refused, run


def test_recipes_are_listed_for_people_and_machines():
    assert "standard" in good("recipes").stdout
    rows = json.loads(good("recipes", "--json").stdout)
    assert {"quick", "standard", "full"} <= {row["name"] for row in rows}


def test_a_stimulus_says_what_it_is_and_how_to_play_it_safely(tmp_path):
    result = good("stimulus", "quick", "--out", tmp_path / "q.wav", "--rate", 96_000)
    assert "96000 Hz" in result.stdout and "peak" in result.stdout
    for caution in ("headphones", "Tweeters", "Phantom", "monitoring", "DC"):
        assert caution in result.stderr


def test_the_next_stimulus_is_designed_from_a_first_profile(profiles, tmp_path):
    result = good("stimulus", "--for", profiles[0], "--out", tmp_path / "next.wav")
    assert "expected" in result.stdout and (tmp_path / "next.json").exists()
    refused(run("stimulus", "--out", tmp_path / "x.wav"), code=2, says="either a RECIPE or --for")


def test_a_bad_recipe_names_line_and_range(tmp_path):
    path = tmp_path / "r.toml"
    path.write_text('schema = "charprobe.recipe/1"\nname = "r"\nsummary = "s"\npeak_dbfs = 3\n')
    refused(run("stimulus", path, "--out", tmp_path / "r.wav"), says="r.toml")
    assert not (tmp_path / "r.wav").exists()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_command_that_is_told_to_end_leaves_nothing_behind(tmp_path, number):
    command = [sys.executable, "-m", "charprobe", "stimulus", "full", "--rate", "192000", "--out", "play.wav"]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(map(os.path.abspath, sys.path))}
    ignored = signal.signal(number, signal.SIG_DFL)  # as under nohup, which what is started would inherit
    running = subprocess.Popen(command, cwd=tmp_path, stderr=subprocess.PIPE, env=environment)
    signal.signal(number, ignored)
    with running:
        ends = time.monotonic() + 60
        while not list(tmp_path.glob(".charprobe-*.part")) and time.monotonic() < ends:
            time.sleep(0.01)
        assert running.poll() is None
        running.send_signal(number)
        _, words = running.communicate(timeout=60)
    assert running.returncode == 130 and b"Stopped." in words
    assert list(tmp_path.iterdir()) == []
