import pytest
from commands import good

RIG = ("--bits", 24, "--noise", -110, "--delay", 812.3, "--drift", 15)
STEPS = """schema = "charprobe.recipe/1"
name = "steps"
summary = "Steps alone."
[[segment]]
kind = "level_steps"
name = "steps"
from_dbfs = -50.0
to_dbfs = -2.0
step_db = 3.0
step_s = 0.2
frequency_hz = 997.0
"""


def captured(folder, recipe):
    """A stimulus, a bypass capture and a capture of a compressor."""
    good("stimulus", recipe, "--out", folder / "s.wav")
    good("simulate", "plain-wire", folder / "s.wav", "--out", folder / "off.wav", *RIG)
    good("simulate", "smooth-gain-hard", folder / "s.wav", "--out", folder / "on.wav", "--seed", 1, *RIG)


@pytest.fixture(scope="session")
def bench(shared):
    """A folder with a stimulus of every topic, captures of a bypass and of a compressor, and their profiles."""

    def fill(folder):
        captured(folder, "quick")
        for name in ("on", "off"):
            capture, out = folder / f"{name}.wav", folder / f"{name}.json"
            good("measure", capture, "--bypass", folder / "off.wav", "--out", out)

    return shared("bench", fill)


@pytest.fixture(scope="session")
def profiles(bench):
    return bench / "on.json", bench / "off.json"


@pytest.fixture(scope="session")
def steps(shared):
    """The same captures of steps alone: what a command does besides measuring shows there in a moment."""

    def fill(folder):
        (folder / "steps.toml").write_text(STEPS, encoding="utf-8")
        captured(folder, folder / "steps.toml")

    return shared("steps", fill)
