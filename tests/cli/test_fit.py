import pytest
from commands import refused, run


@pytest.fixture
def sound(tmp_path):
    for name in ("on.wav", "off.wav"):
        (tmp_path / name).write_bytes(b"RIFF")
    return tmp_path


def test_a_replica_that_exists_is_told_before_two_minutes_of_fitting(sound):
    (sound / "a.replica.json").write_text("kept")
    call = ("fit", sound / "on.wav", "--bypass", sound / "off.wav", "--out", sound / "a.replica.json")
    refused(run(*call), says="already exists; kept as it is")
    assert (sound / "a.replica.json").read_text() == "kept"


def test_without_a_bypass_it_is_misused(sound):
    assert (
        "--bypass" in refused(run("fit", sound / "on.wav", "--out", "a.json"), code=2, says="Missing").stderr
    )
