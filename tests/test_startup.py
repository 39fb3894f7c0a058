"""Start-up is instant: help loads none of the heavy libraries."""

import subprocess
import sys

import pytest

import charprobe
from charprobe.cli import LINEAR_ALGEBRA

PROBE = """
import sys
from click.testing import CliRunner
from charprobe.cli import main
result = CliRunner().invoke(main, sys.argv[1:])
assert result.exit_code == 0, result.output
"""
HEAVY = """
import sys
names = {"numpy", "scipy", "matplotlib", "librosa", "numba", "soundfile", "pydantic", "pandas"}
print(",".join(sorted(names & set(sys.modules))))
"""


@pytest.mark.parametrize("arguments", [["--help"], ["measure", "--help"], ["demo", "--help"], ["--version"]])
def test_help_imports_no_heavy_library(arguments):
    assert loaded_by(PROBE, *arguments) == ""


def test_the_front_door_opens_without_any_heavy_library():
    assert loaded_by("import charprobe; dir(charprobe); charprobe.CharprobeError") == ""


def test_what_is_asked_for_is_loaded():
    assert "numpy" in loaded_by("import charprobe; charprobe.measure")


@pytest.mark.parametrize("name", charprobe.__all__)
def test_every_name_of_the_front_door_is_there_and_documented(name):
    there = getattr(charprobe, name)
    assert there.__name__ == name
    assert there.__module__.startswith("charprobe.")
    assert there.__doc__
    assert name in dir(charprobe)


def test_measuring_is_imported_without_the_slow_scientific_packages():
    code = """
import charprobe.measuring.measure, charprobe.measuring.check, sys
from charprobe.files.sound.loudness import LoudnessMeter
LoudnessMeter(rate_hz=48_000, weights=[1.0]).result()
slow = {"fft", "ndimage", "optimize", "signal", "special", "stats"}
assert not {f"scipy.{name}" for name in slow} & set(sys.modules)
"""
    assert "numpy" in loaded_by(code)


THREADS = """
from threadpoolctl import threadpool_info
import scipy.linalg
print({one["num_threads"] for one in threadpool_info() if one["user_api"] == "blas"})
"""


@pytest.mark.parametrize(("asked", "threads"), [({}, "{1}"), ({"OPENBLAS_NUM_THREADS": "2"}, "{2}")])
def test_commands_start_no_threads_for_small_systems_unless_asked_to(asked, threads, monkeypatch):
    for name in LINEAR_ALGEBRA:
        monkeypatch.delenv(name, raising=False)
    monkeypatch.delenv("OMP_NUM_THREADS", raising=False)
    for name, number in asked.items():
        monkeypatch.setenv(name, number)
    done = subprocess.run(
        [sys.executable, "-c", PROBE + THREADS, "recipes"], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == threads


def test_another_name_is_refused_as_usual():
    with pytest.raises(AttributeError, match="no attribute 'mesure'"):
        charprobe.mesure  # noqa: B018  # asking is the test


def loaded_by(code, *arguments):
    """Heavy libraries that are loaded after running `code` in a fresh interpreter."""
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\n{HEAVY}", *arguments],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    return done.stdout.strip()
