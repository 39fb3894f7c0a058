import numpy as np
import pytest

from charprobe.bench.probe import LEVELS_DBFS, advise, probe_sound, read_probe

RATE_HZ = 48_000


def heard(level, *, rng, gain=0.5, delay=300, noise=1e-5, top=1.0, moving=0.0, polarity=1):
    """A loop: delay, gain, a slope of gain in dB/s, noise, a ceiling; and an input that hears nothing."""
    sound = probe_sound(level, rate_hz=RATE_HZ)
    came = np.concatenate([np.zeros(delay), sound, np.zeros(2000)])
    came = polarity * gain * came * 10 ** (moving * np.arange(len(came)) / RATE_HZ / 20)
    came = np.clip(came + noise * rng.standard_normal(len(came)), -top, top)
    deaf = noise * rng.standard_normal(len(came))
    return read_probe(np.stack([came, deaf], axis=1), level, rate_hz=RATE_HZ)


@pytest.mark.parametrize("level", [-40.0, -12.0, -1.0])
@pytest.mark.parametrize("polarity", [1, -1])
def test_gain_delay_polarity_and_noise_of_a_plain_loop(level, polarity, rng):
    one, deaf = heard(level, polarity=polarity, rng=rng)
    assert one.gain_db == pytest.approx(20 * np.log10(0.5), abs=0.02)
    assert one.delay_s == pytest.approx(300 / RATE_HZ, abs=2e-5)
    assert one.polarity == polarity
    assert one.noise_dbfs == pytest.approx(20 * np.log10(1e-5 * np.sqrt(2)), abs=0.5)
    assert not one.clipped
    assert abs(one.moved_db) < 0.02
    assert (deaf.gain_db, deaf.channel) == (None, 2)


def test_a_cut_wave_below_full_scale_is_told_and_a_lower_level_proposed(rng):
    steps = [heard(level, gain=1.0, top=0.4, noise=1e-6, rng=rng) for level in LEVELS_DBFS[:5]]
    assert [step[0].clipped for step in steps] == [False, False, False, False, True]
    advice = advise(steps, LEVELS_DBFS[:5])
    assert "clips at -6 dBFS" in advice.stop
    assert advice.level_db == LEVELS_DBFS[3] - LEVELS_DBFS[-1]


def test_a_riding_gain_is_noticed(rng):
    step = heard(-20.0, moving=3.0, rng=rng)
    assert any("steady tone moves" in line for line in advise([step], [-20.0]).lines)


def test_an_open_cable_stops_the_probe_before_it_gets_loud(rng):
    silent = heard(-30.0, gain=0.0, rng=rng)
    assert "no input hears" in advise([silent, silent], LEVELS_DBFS[:2]).stop
