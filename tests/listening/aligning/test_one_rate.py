import numpy as np
import pytest
from held import as_source

from charprobe.listening.aligning.one_rate import on_one_rate
from charprobe.listening.aligning.pair_checks import PairingError


def tone(rate_hz, seconds=1.0):
    wave = 0.5 * np.sin(2 * np.pi * 997 * np.arange(round(seconds * rate_hz)) / rate_hz)
    return as_source(np.stack([wave, -wave], axis=1), rate_hz)


@pytest.mark.parametrize("fast_is_dry", [True, False])
def test_the_faster_file_comes_down_to_the_rate_of_the_other(fast_is_dry):
    fast, slow = tone(96_000), tone(44_100)
    given = (fast, slow) if fast_is_dry else (slow, fast)
    with on_one_rate(*given) as (dry, processed, notes):
        found, kept = (dry, processed) if fast_is_dry else (processed, dry)
        assert kept is slow
        assert (found.rate_hz, found.channels) == (44_100, 2)
        middle = found.read_frames(10_000, 30_000)
        np.testing.assert_allclose(middle, slow.read_frames(10_000, 30_000), rtol=0, atol=1e-5)  # -100 dBFS
    (note,) = notes
    assert f"The {'dry' if fast_is_dry else 'processed'} file was converted from 96000 to 44100 Hz" in note


def test_files_of_one_rate_are_left_alone():
    one, other = tone(48_000), tone(48_000)
    with on_one_rate(one, other) as found:
        assert found == (one, other, ())


def test_too_little_room_is_said_before_anything_is_converted(monkeypatch):
    monkeypatch.setattr("charprobe.listening.aligning.one_rate._MOST_OF_DISK", 0.0)
    with (
        pytest.raises(PairingError, match=r"needs .* GB for a temporary file"),
        on_one_rate(tone(96_000), tone(44_100)),
    ):
        pass
