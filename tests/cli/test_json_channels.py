"""Channels count from 1 in everything that is written for machines, as they do for people."""

import json

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner
from small_session import RECIPE

from charprobe.cli import main
from charprobe.stimulus.recipe import parse_recipe
from charprobe.stimulus.write import write_stimulus

SECOND = 2
SESSION = """schema = "charprobe.session/1"
title = "The second channel"
recipe = "short.toml"
[device]
name = "A box of wire"
[[setting]]
name = "clipped"
captures = ["on.wav"]
channels = [2]
"""


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """Two channels that differ, the second of them clipped: its findings name their channel."""
    folder = tmp_path_factory.mktemp("bench")
    (folder / "short.toml").write_text(RECIPE, encoding="utf-8")
    (folder / "s.toml").write_text(SESSION, encoding="utf-8")
    write_stimulus(parse_recipe(RECIPE, source="short.toml"), folder / "played.wav")
    played, rate = soundfile.read(folder / "played.wav")
    noise = np.random.default_rng(4).normal(0, 1e-5, (played.size, 2))
    sides = np.stack([0.8 * played, np.clip(1.6 * played, -0.3, 0.3)], axis=1) + noise
    soundfile.write(folder / "on.wav", sides, rate, subtype="PCM_24")
    soundfile.write(folder / "off.wav", 0.8 * played[:, None] + noise, rate, subtype="PCM_24")
    return folder


def channels_in(value):
    """Every `channel` of a JSON value, however deep."""
    if isinstance(value, dict):
        own = [value["channel"]] if "channel" in value else []
        return own + [found for part in value.values() for found in channels_in(part)]
    return [found for part in value for found in channels_in(part)] if isinstance(value, list) else []


def only_the_second(text):
    """Check that every `channel` is the second or left open, and that findings have one."""
    table = json.loads(text)
    assert table["channel"] == SECOND
    assert SECOND in [item["channel"] for item in table["health"]], "no finding names its channel"
    assert set(channels_in(table)) <= {SECOND, None}


def test_check_with_and_without_bypass(bench):
    for more in ([], ["--bypass", bench / "off.wav"]):
        given = ("--stimulus", bench / "played.wav", "--channel", SECOND, "--json", *more)
        only_the_second(run("check", bench / "on.wav", *given).stdout)


def test_check_of_a_capture_without_the_stimulus(bench, tmp_path, rng):
    soundfile.write(tmp_path / "hiss.wav", rng.normal(0, 0.01, (96_000, 2)), 48_000, subtype="PCM_24")
    given = ("--stimulus", bench / "played.wav", "--channel", SECOND, "--json")
    only_the_second(run("check", tmp_path / "hiss.wav", *given).stdout)


def test_measure_and_show(bench, tmp_path):
    out = tmp_path / "profile.json"
    given = ("--stimulus", bench / "played.wav", "--bypass", bench / "off.wav", "--channel", SECOND)
    only_the_second(run("measure", bench / "on.wav", *given, "--out", out, "--json").stdout)
    only_the_second(out.read_text(encoding="utf-8"))
    only_the_second(run("show", out, "--json").stdout)
    assert json.loads(out.read_text(encoding="utf-8"))["made_with"]["options"]["channel"] == SECOND


def test_profiles_of_a_session(bench, tmp_path):
    done = run("session", bench / "s.toml", "--out", tmp_path / "out", "--jobs", 1)
    assert done.exit_code == 0, done.output
    (profile,) = (tmp_path / "out" / "profiles").glob("*.json")
    only_the_second(profile.read_text(encoding="utf-8"))


@pytest.mark.parametrize("command", [["recipes"], ["stages"], ["stages", "--faults"]], ids=" ".join)
def test_what_speaks_of_no_capture_names_no_channel(command):
    assert channels_in(json.loads(run(*command, "--json").stdout)) == []


def test_every_command_with_json_is_asked_here_or_speaks_of_pairs():
    """`ab`, `blind`, `record` and what has to do with replicas write of whole files, `selftest` of stages."""
    with_json = set()
    for name in main.list_commands(None):
        command = main.get_command(None, name)
        for each in [command, *getattr(command, "commands", {}).values()]:
            if any("--json" in option.opts for option in each.params):
                with_json.add(name)
    asked = {"check", "measure", "show", "recipes", "stages"}
    assert with_json == asked | {"ab", "blind", "fit", "preview", "unprint", "predict", "record", "selftest"}
