import numpy as np
import pytest

from charprobe.simulation.rig.helpful_faults import automatic_gain, idle_mute, lossy_code, suppress_noise

RATE = 48_000.0


def stretches(*levels_dbfs, length_s=3.0):
    level = np.repeat(10 ** (np.array(levels_dbfs) / 20), int(length_s * RATE))
    return (level * np.cos(2 * np.pi * 997 / RATE * np.arange(level.size)))[:, None]


def level_dbfs(samples):
    return 20 * np.log10(np.sqrt(2 * np.mean(samples**2)))


def test_automatic_gain_brings_different_levels_together_after_a_while():
    out = automatic_gain(stretches(-30, -10, -30, length_s=12), most_db=20, rate_hz=RATE)
    ends = [level_dbfs(out[int(t * RATE) - 4800 : int(t * RATE), 0]) for t in (12, 24, 36)]
    # eight rise times leave 12 dB * exp(-8) = 0.004 dB; a block holds 4.99 periods, which moves its level by 0.02 dB
    np.testing.assert_allclose(ends, -18, atol=0.05)
    just_after = level_dbfs(out[int(24.1 * RATE) : int(24.2 * RATE), 0])
    assert just_after < -35  # the burst's turn-down still rules


def test_noise_suppressor_fades_the_quiet_and_spares_the_loud():
    x = stretches(-20, -70)
    out = suppress_noise(x, rate_hz=RATE)
    assert level_dbfs(out[24_000:120_000]) == pytest.approx(-20, abs=0.01)
    assert level_dbfs(out[-4800:]) == pytest.approx(-110, abs=0.05)  # 11 closing times leave 40 dB * exp(-11)


def test_idle_mute_waits_and_then_is_zero():
    out = idle_mute(stretches(-20, -90, -20), rate_hz=RATE)
    assert out[int(3.7 * RATE) : int(3.79 * RATE)].any()
    assert not out[int(3.82 * RATE) : int(5.99 * RATE)].any()
    assert level_dbfs(out[int(6.01 * RATE) :]) == pytest.approx(-20, abs=0.01)


def test_fine_lossy_coding_returns_the_band_and_nothing_above(rng):
    n = np.arange(96_000)
    low = 0.3 * np.cos(2 * np.pi * 3000 / RATE * n)
    x = (low + 0.1 * np.cos(2 * np.pi * 18_000 / RATE * n))[:, None]
    out = lossy_code(x, below_db=200.0, rate_hz=RATE)[4800:-4800, 0]
    # steps 200 dB down leave only what the 18 kHz tone's window skirt drops below 16 kHz
    assert np.abs(out - low[4800:-4800]).max() < 1e-3


def test_coarse_lossy_coding_rings_ahead_of_an_attack():
    x = np.zeros((48_000, 1))
    x[24_000:, 0] = 0.5 * np.cos(2 * np.pi * 3989 / RATE * np.arange(24_000))
    out = lossy_code(x, below_db=20.0, rate_hz=RATE)
    assert np.abs(out[23_500:24_000]).max() > 1e-3
    assert not np.abs(out[:20_000]).max() > 1e-9
