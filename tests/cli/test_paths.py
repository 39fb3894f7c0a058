"""No command writes over what it reads, whatever the path looks like; only sound replaces sound."""

import hashlib
import os

import numpy as np
import pytest
from click.testing import CliRunner

from charprobe.cli import main
from charprobe.files.sound.sound_file import write_wav


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def refused(result, says):
    assert result.exit_code == 1, result.output
    assert result.output.startswith("Error: ")
    assert says in result.output
    assert "Traceback" not in result.output


@pytest.fixture
def folder(tmp_path, rng):
    for name in ("on", "off", "other"):
        write_wav(
            tmp_path / f"{name}.wav",
            rng.normal(0, 0.01, (4800, 1)),
            rate_hz=48_000,
            subtype="pcm24",
            force=False,
        )
    (tmp_path / "cues.json").write_text("{}", encoding="utf-8")
    (tmp_path / "cues.wav").write_bytes((tmp_path / "other.wav").read_bytes())
    (tmp_path / "volts.toml").write_text("[[reading]]\n", encoding="utf-8")
    return tmp_path


def sums(folder):
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir() if p.is_file()}


def paths_to(folder, name, way):
    """Name one of the files another way."""
    path = folder / name
    if way == "the same":
        return path
    if way == "relative":
        return os.path.relpath(folder / ".." / folder.name / name)
    other = folder / f"linked{path.suffix}"
    other.symlink_to(path) if way == "a link" else os.link(path, other)
    return other


@pytest.mark.parametrize("way", ["the same", "relative", "a link", "a hard link"])
@pytest.mark.parametrize("name", ["on.wav", "off.wav", "cues.json", "volts.toml"])
def test_measure_keeps_everything_it_reads(folder, name, way):
    target = paths_to(folder, name, way)
    before = sums(folder)
    done = run(
        "measure", folder / "on.wav", "--bypass", folder / "off.wav", "--stimulus", folder / "cues.wav",
        "--volts", folder / "volts.toml", "--out", target, "--force",
    )  # fmt: skip
    refused(done, says="is one of the files read here")
    assert sums(folder) == before


@pytest.mark.parametrize("command", ["simulate", "repair", "design"])
def test_other_commands_keep_their_inputs_too(folder, command):
    before = sums(folder)
    arguments = {
        "simulate": ("simulate", "plain-wire", folder / "on.wav", "--out", folder / "on.wav", "--force"),
        "repair": ("check", folder / "on.wav", "--repair", folder / "on.wav", "--force"),
        "design": ("stimulus", "quick", "--out", folder / "cues.wav", "--force"),
    }[command]
    if (
        command == "design"
    ):  # a stimulus may replace an earlier one, not the sound that is no stimulus's cue sheet
        (folder / "cues.json").write_bytes((folder / "on.wav").read_bytes())
        before = sums(folder)
        refused(run(*arguments), says="is a sound file and is not replaced by anything else")
    else:
        refused(run(*arguments), says="read here" if command == "simulate" else "on.wav")
    assert sums(folder) == before


def test_a_profile_never_replaces_a_recording(folder):
    before = sums(folder)
    done = run("measure", folder / "on.wav", "--out", folder / "other.wav", "--force")
    refused(done, says="is a sound file and is not replaced by anything else")
    assert sums(folder) == before


def test_a_pair_replaces_only_an_earlier_pair(folder, rng):
    out = folder / "pair"
    out.mkdir()
    write_wav(out / "dry.wav", np.zeros((480, 1)), rate_hz=48_000, subtype="pcm24", force=False)
    before = sums(out)
    refused(
        run("ab", folder / "off.wav", folder / "on.wav", "--out", out, "--force"),
        says="no earlier pair stands there",
    )
    assert sums(out) == before
