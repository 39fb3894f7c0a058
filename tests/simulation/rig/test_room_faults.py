"""What a room adds has the level that was asked for."""

import numpy as np
import pytest

from charprobe.simulation.rig import room_faults

RATE_HZ = 48_000
SILENCE = np.zeros((2 * RATE_HZ, 1))


def level_dbfs(samples):
    return 10 * np.log10(2 * np.mean(samples**2))  # a sine of full scale is 0 dBFS


@pytest.mark.parametrize(
    "add",
    [
        lambda x: room_faults.noise(x, level_dbfs=-50.0),
        lambda x: room_faults.music(x, level_dbfs=-50.0, rate_hz=RATE_HZ),
        lambda x: room_faults.swinging_noise(x, level_dbfs=-50.0, rate_hz=RATE_HZ),
    ],
)
def test_levels_are_as_asked(add):
    assert level_dbfs(add(SILENCE)) == pytest.approx(-50.0, abs=1e-6)


def test_a_ring_tone_sounds_in_the_middle_alone():
    rung = room_faults.ring_tone(SILENCE, level_dbfs=-40.0, rate_hz=RATE_HZ)[:, 0]
    count = rung.size
    assert not rung[: int(0.4 * count)].any() and not rung[int(0.55 * count) :].any()
    assert np.abs(rung).max() == pytest.approx(0.01, rel=0.02)


def test_a_tail_has_its_energy_below_the_direct_sound_and_comes_after_it():
    click = SILENCE.copy()
    click[1000] = 0.5
    tail = (room_faults.diffuse_tail(click, level_db=-20.0, rate_hz=RATE_HZ) - click)[:, 0]
    assert 10 * np.log10(np.sum(tail**2) / 0.25) == pytest.approx(-20.0, abs=0.01)
    assert np.abs(tail[: 1000 + round(0.003 * RATE_HZ)]).max() < 1e-12
