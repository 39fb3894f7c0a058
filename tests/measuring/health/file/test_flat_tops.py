import numpy as np
import pytest

from charprobe.measuring.health.file.flat_tops import find_flat_tops

RATE = 48_000
LSB16, LSB24 = 2.0**-15, 2.0**-23
n = np.arange(32_768)


def tone(frequency_hz, *, amplitude=0.7, phase=0.0):
    return amplitude * np.sin(2 * np.pi * frequency_hz * n / RATE + phase)


def look(samples, step=LSB24, noise=0.0):
    return find_flat_tops(samples, start=1000, highest=0.0, step=step, noise=noise)


@pytest.mark.parametrize("frequency_hz", [50.0, 997.0, 3989.0])
def test_a_clipped_tone_shows_its_ceiling_and_every_period(frequency_hz):
    found = look(np.minimum(tone(frequency_hz, amplitude=1.4), 0.5))
    assert found.ceiling == 0.5
    periods = frequency_hz * n.size / RATE
    # a third of each period is clipped: 4 samples and more; missed are the ends of the stretch, and tops beside
    # which a sample happens to lie within 4e-4 below the ceiling: 1 in 800 at the steepest of these tones
    assert 0.99 * periods - 2 <= found.count <= periods + 1
    # clipped are phases asin(0.5 / 1.4) to pi minus that
    assert abs(found.longest - RATE / frequency_hz * (0.5 - np.arcsin(0.5 / 1.4) / np.pi)) <= 1
    assert found.start >= 1000
    assert found.stop <= 1000 + n.size


def test_the_place_of_a_single_recorder_overload_is_exact():
    samples = tone(997.0)
    samples[2000:2005] = 1 - LSB24
    found = look(samples)
    assert (found.start, found.stop, found.count, found.longest) == (3000, 3005, 1, 5)


def test_clean_tones_of_any_frequency_phase_level_and_word_length_have_no_flat_tops(rng):
    for step in (2.0**-7, LSB16, LSB24):
        for _ in range(150):
            frequency_hz, amplitude = (
                np.exp(rng.uniform(np.log(10), np.log(20_000))),
                10 ** rng.uniform(-1.5, 0),
            )
            samples = tone(frequency_hz, amplitude=amplitude, phase=rng.uniform(0, 2 * np.pi))
            samples = np.clip(np.round(samples / step) * step, -1, 1 - 2 * step)
            found = look(samples, step)
            assert found is None, (frequency_hz, amplitude, step, found)


@pytest.mark.parametrize("noise_dbfs", [-100, -80, -70, -65, -60, -55, -50, -40])
def test_clean_tones_in_noise_have_none_either(rng, noise_dbfs):
    for frequency_hz in (20, 60, 200, 997, 3989):
        for _ in range(10):
            rms = 10 ** (noise_dbfs / 20) / np.sqrt(2)
            samples = tone(frequency_hz, phase=rng.uniform(0, 7)) + rng.normal(0, rms, n.size)
            for known in (
                0.0,
                rms / 3,
                rms,
                3 * rms,
            ):  # the quietest piece may be quieter than the tone's noise
                assert look(samples, noise=known) is None


@pytest.mark.parametrize("noise_dbfs", [-110, -90, -80, -70])
def test_a_ceiling_with_noise_on_it_is_still_seen(rng, noise_dbfs):
    rms = 10 ** (noise_dbfs / 20) / np.sqrt(2)
    samples = np.clip(tone(997.0, amplitude=1.0), -0.6, 0.6) + rng.normal(0, rms, n.size)
    found = look(samples, noise=rms)
    assert abs(found.ceiling - 0.6) < rms  # the median of hundreds of tops, each off by rms
    assert found.count > 500  # of 680: some are rougher than four times the noise, some not steep enough


@pytest.mark.parametrize("drive", [0.5, 1.0, 2.0])
def test_soft_saturation_that_still_turns_round_is_not_a_ceiling(drive):
    assert look(np.tanh(drive * tone(997.0, amplitude=1.0))) is None


def test_tops_well_below_the_highest_so_far_are_not_looked_at():
    samples = np.minimum(tone(997.0), 0.5)
    assert find_flat_tops(samples, start=0, highest=0.5, step=LSB24, noise=0.0) is not None
    assert find_flat_tops(samples, start=0, highest=0.6, step=LSB24, noise=0.0) is None
    assert find_flat_tops(samples * 0.001, start=0, highest=0.0, step=LSB24, noise=0.0) is None


@pytest.mark.parametrize("step", [LSB16, LSB24])
def test_short_tops_at_full_scale_count_where_most_high_samples_lie_in_them(step):
    ceiling = 1 - step
    loud = np.minimum(tone(3989.0, amplitude=1.03), ceiling)  # 0.26 dB too loud: one or two samples a period
    found = look(np.round(loud / step) * step, step=step)
    assert found is not None
    assert found.longest < 3
    assert found.ceiling == ceiling
    just = np.minimum(np.round(tone(3989.0, amplitude=ceiling) / step) * step, ceiling)
    assert look(just, step=step) is None
    assert look(1.2 * just, step=step) is None  # beyond full scale, as only a float file can be


def test_a_treble_cut_at_full_scale_counts_beside_a_middle_that_is_cut_there_too():
    ceiling = 1 - LSB24
    half = n.size // 2
    both = np.where(n < half, tone(997.0, amplitude=1.3), tone(7919.0, amplitude=1.3))
    found = look(np.minimum(both, ceiling))
    assert found.stop > 1000 + n.size - 12  # its last period, two samples of each at the ceiling
