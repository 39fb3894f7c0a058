import pytest
from commands import good


@pytest.fixture(scope="session")
def bench(tmp_path_factory):
    """A folder with a stimulus, a bypass capture and a capture of a compressor."""
    folder = tmp_path_factory.mktemp("bench")
    good("stimulus", "quick", "--out", folder / "s.wav")
    rig = ("--bits", 24, "--noise", -110, "--delay", 812.3, "--drift", 15)
    good("simulate", "plain-wire", folder / "s.wav", "--out", folder / "off.wav", *rig)
    good("simulate", "smooth-gain-hard", folder / "s.wav", "--out", folder / "on.wav", "--seed", 1, *rig)
    return folder


@pytest.fixture(scope="session")
def profiles(bench):
    for name in ("on", "off"):
        out = bench / f"{name}.json"
        good("measure", bench / f"{name}.wav", "--bypass", bench / "off.wav", "--out", out, "--force")
    return bench / "on.json", bench / "off.json"
