"""Placing the stimulus in a capture. Fractional delays and clocks come from closed forms."""

import numpy as np
import pytest
from played import RATE_HZ, capture, recorded, short_stimulus
from scipy.signal import bilinear, butter, lfilter

from charprobe.placing.align import align_run, locate
from charprobe.placing.marker_search import find_runs, pair_up, search
from charprobe.placing.track import Track

STIMULUS = short_stimulus()
OTHER = short_stimulus(summary="another recipe")
# The goal at 25 s is 0.02 sample and 0.2 ppm. The bound for these chirps at 74 dB is 3e-6 sample and 3e-6
# ppm; the tests allow a thousandth of the goal, which is also several sigma of the noise.
DELAY_TOLERANCE, DRIFT_TOLERANCE_PPM = 5e-5, 5e-5


@pytest.mark.parametrize("delay", [0.0, 12.34, 4800.5, -20_000.27, 400_000.75])
@pytest.mark.parametrize("drift_ppm", [0.0, 18.4, -500.0, 500.0])
def test_delay_and_drift_equal_the_closed_form(delay, drift_ppm, rng):
    found = locate(
        Track(capture(recorded(STIMULUS, delay=delay, drift_ppm=drift_ppm, noise=rng)), 0, STIMULUS)
    )
    assert abs(found.delay_samples.value - delay) < DELAY_TOLERANCE
    assert abs(found.drift_ppm.value - drift_ppm) < DRIFT_TOLERANCE_PPM
    assert found.opening_found and found.closing_found
    assert found.polarity == 1
    assert abs(found.gain_db) < 1e-3
    assert (found.ident.recipe_hash_prefix, found.ident.take) == (STIMULUS.recipe.hash[:6], 7)
    assert found.jumps == ()
    ends = np.array([0.0, STIMULUS.length])
    truth = delay + ends * (1 + 1e-6 * drift_ppm)
    np.testing.assert_allclose(found.capture_index(ends), truth, rtol=0, atol=2 * DELAY_TOLERANCE)


@pytest.mark.parametrize("gain_db", [-60.0, -20.0, 20.0])
@pytest.mark.parametrize("sign", [1, -1])
def test_gain_and_polarity_are_told(gain_db, sign, rng):
    samples = recorded(STIMULUS, delay=333.3, drift_ppm=-7.0, gain=sign * 10 ** (gain_db / 20), noise=rng)
    found = locate(Track(capture(samples), 0, STIMULUS))
    assert found.polarity == sign
    assert abs(found.gain_db - gain_db) < 0.08  # at -60 dB: noise of 14 dB SNR over 3000 bins, 5 sigma
    bound = 3e-6 * 10 ** (max(0.0, -gain_db) / 20)  # of the delay, twice that with a free phase; 5 sigma
    assert abs(found.delay_samples.value - 333.3) < max(DELAY_TOLERANCE, 10 * bound)


@pytest.mark.parametrize("rate_hz", [44_100, 96_000, 192_000])
def test_other_rates(rate_hz, rng):
    stimulus = short_stimulus(rate_hz=rate_hz)
    samples = recorded(stimulus, delay=1234.56, drift_ppm=31.0, noise=rng)
    found = locate(Track(capture(samples, rate_hz=rate_hz), 0, stimulus))
    assert abs(found.delay_samples.value - 1234.56) < 1e-4  # more noise in band per sample of finer time
    assert abs(found.drift_ppm.value - 31) < DRIFT_TOLERANCE_PPM


def test_minutes_of_silence_in_front(rng):
    frames = 130 * RATE_HZ
    samples = recorded(STIMULUS, delay=110 * RATE_HZ + 0.25, frames=frames, noise=rng)
    found = locate(Track(capture(samples), 0, STIMULUS))
    assert abs(found.delay_samples.value - 110 * RATE_HZ - 0.25) < DELAY_TOLERANCE


def first_order_shelf(centre_hz, gain_db):
    root, w = 10 ** (gain_db / 40), 2 * np.pi * centre_hz
    return bilinear([root, w], [1 / root, w], RATE_HZ)


def fast_compressor(x):
    """Feed-forward, 0.5 ms and 30 ms, 10:1 above -55 dBFS: it works on everything, markers included."""
    level, gain = 0.0, np.empty_like(x)
    for i, a in enumerate(np.abs(x)):
        level += (a - level) * (0.0412 if a > level else 0.00069)
        gain[i] = max(level, 1e-9)
    over_db = np.maximum(0.0, 20 * np.log10(gain) + 55)
    return x * 10 ** (-0.9 * over_db / 20)


# none of them delays: every one of these phases belongs to a response that is instant at its edge
DEVICES = {
    "coupling capacitor": lambda x: lfilter(*butter(1, 5, "high", fs=RATE_HZ), x),
    "two couplings": lambda x: lfilter(*butter(2, 30, "high", fs=RATE_HZ), x),
    "high shelf": lambda x: lfilter(*first_order_shelf(8000, 3), x),
    "middle shelf": lambda x: lfilter(*first_order_shelf(3000, -4), x),
    "low shelf": lambda x: lfilter(*first_order_shelf(200, 4), x),
    "saturation": lambda x: x + 0.1 * x**2 - 0.2 * x**3,
    "compressor": fast_compressor,
}


@pytest.mark.parametrize("device", DEVICES)
def test_a_device_s_own_phase_is_not_taken_for_delay(device, rng):
    samples = DEVICES[device](recorded(STIMULUS, delay=1000.6, drift_ppm=25.0, noise=rng))
    found = locate(Track(capture(samples), 0, STIMULUS))
    assert abs(found.delay_samples.value - 1000.6) < 0.02  # the goal
    reach = found.delay_samples.high - found.delay_samples.value
    assert abs(found.delay_samples.value - 1000.6) < 2.5 * reach  # and the interval is not far from honest
    assert abs(found.drift_ppm.value - 25) < 0.02  # the same phase in both markers drops out
    assert found.polarity == 1
    assert found.jumps == ()


def test_only_the_opening(rng):
    samples = recorded(STIMULUS, delay=500.5, drift_ppm=-60.0, frames=STIMULUS.closing.start, noise=rng)
    found = locate(Track(capture(samples), 0, STIMULUS))
    assert found.opening_found and not found.closing_found
    assert abs(found.delay_samples.value - 500.5) < 0.01  # the drift of the tones, over 0.6 s of pre-roll
    assert abs(found.drift_ppm.value + 60) < 0.05
    assert found.drift_ppm.low <= -60 <= found.drift_ppm.high


def test_only_the_closing(rng):
    samples = recorded(STIMULUS, delay=-60_000.5, drift_ppm=45.0, noise=rng)
    found = locate(Track(capture(samples), 0, STIMULUS))
    assert found.closing_found and not found.opening_found
    assert abs(found.delay_samples.value + 60_000.5) < 0.05  # 0.05 ppm of a million samples
    assert found.delay_samples.low <= -60_000.5 <= found.delay_samples.high
    assert abs(found.drift_ppm.value - 45) < 0.05


def test_a_marker_alone_leaves_the_drift_open(rng):
    samples = recorded(STIMULUS, delay=10.0, frames=STIMULUS.segments[0].span.start, noise=rng)
    found = locate(Track(capture(samples), 0, STIMULUS))
    assert found.drift_ppm.high - found.drift_ppm.low > 100
    assert abs(found.delay_samples.value - 10) < found.delay_samples.high - found.delay_samples.value


def test_two_takes_in_one_file(rng):
    one = recorded(STIMULUS, delay=100.25, noise=rng)
    two = recorded(STIMULUS, delay=2000.5, noise=rng)
    both = capture(np.concatenate([one, two]))
    runs = find_runs(Track(both, 0, STIMULUS))
    delays = [align_run(Track(both, 0, STIMULUS), run).delay_samples.value for run in runs]
    np.testing.assert_allclose(delays[0], 100.25, atol=DELAY_TOLERANCE)
    hits = search(both, 0, start=0, stop=both.frames, marker_rate_hz=RATE_HZ)
    runs = pair_up(hits, distance=STIMULUS.closing.start - STIMULUS.opening.start)
    delays = [align_run(Track(both, 0, STIMULUS), run).delay_samples.value for run in runs]
    np.testing.assert_allclose(delays, [100.25, one.size + 2000.5], rtol=0, atol=DELAY_TOLERANCE)


def test_samples_that_are_no_numbers_do_not_stop_the_search(rng):
    samples = recorded(STIMULUS, delay=100.5, noise=rng)
    samples[300_000:300_014] = np.nan
    samples[310_000] = np.inf
    found = locate(Track(capture(samples), 0, STIMULUS))
    assert abs(found.delay_samples.value - 100.5) < DELAY_TOLERANCE
