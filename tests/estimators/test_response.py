"""The response of devices with closed forms, on drifting clocks and in noise."""

import numpy as np
import pytest

from charprobe.estimators.response import deconvolve_sweep, octave_grid
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.values.cut import Cut
from charprobe.values.errors import SegmentTooShortError

RATE_HZ = 48_000.0
GRID_HZ = octave_grid(from_hz=20, to_hz=20_000, per_octave=12)
ECHO, ECHO_S = 0.3, 23.37 / RATE_HZ  # a device whose output is known between samples: one echo
SPEC = Sweep("response", 10, 22_000, 3.0, -20.0)
NOISE_RMS = 10 ** (-110 / 20) / np.sqrt(2)


def capture(spec, device, *, ppm=0.0, noise_rms=0.0, rng=None):
    """Sample ``device(x, t)`` on a clock off by `ppm`; return the cut and the deconvolution."""
    step = 1 - 1e-6 * ppm
    position = -2400.37 + step * np.arange(round((spec.length_s + 0.3) * RATE_HZ))
    seconds = position / RATE_HZ
    samples = device(spec.at, seconds)
    if rng is not None:
        samples = samples + rng.normal(0, noise_rms, samples.size)
    return deconvolve_sweep(
        Cut(samples, position[0], step, RATE_HZ),
        excitation=spec.at(seconds),
        from_hz=spec.from_hz,
        to_hz=spec.to_hz,
        length_s=spec.length_s,
    )


def echo(x, t):
    return x(t) + ECHO * x(t - ECHO_S)


TURN = np.exp(-2j * np.pi * GRID_HZ * ECHO_S)
TRUTH = 1 + ECHO * TURN
TRUE_DELAY_S = np.real(ECHO * ECHO_S * TURN / TRUTH)


@pytest.mark.parametrize("ppm", [0.0, -63.0])
def test_echo_is_found_whatever_the_recorders_clock(ppm):
    found = capture(SPEC, echo, ppm=ppm).linear(GRID_HZ)
    # the record's end and the regularisation leave 1e-5 relative in the middle of the band, more at its top,
    # where the sweep fades out 1/8 octave above the grid's end
    np.testing.assert_allclose(20 * np.log10(np.abs(found.value / TRUTH)), 0, atol=5e-4)
    np.testing.assert_allclose(np.degrees(np.angle(found.value / TRUTH)), 0, atol=5e-3)
    np.testing.assert_allclose(found.group_delay_s, TRUE_DELAY_S, atol=2e-6)  # 0.1 sample


def test_stated_uncertainty_equals_the_real_scatter(rng):
    scores = []
    for _ in range(12):
        found = capture(SPEC, echo, noise_rms=3e-4, rng=rng).linear(GRID_HZ)
        scores.append((found.value - TRUTH) / found.std)
    z = np.stack([np.real(scores), np.imag(scores)])
    # 12 x 2 x about 60 independent points: 3 / sqrt(2 * 1440) = 6 %, plus the scatter of std itself from
    # at most 12 quiet windows (about 4 % on the mean square)
    assert np.sqrt(np.mean(z**2)) == pytest.approx(1, abs=0.1)
    delay = capture(SPEC, echo, noise_rms=3e-4, rng=rng).linear(GRID_HZ)
    z = (delay.group_delay_s - TRUE_DELAY_S) / delay.group_delay_std_s
    assert 0.7 < np.sqrt(np.mean(z**2)) < 1.4  # one draw, neighbours correlated: about 25 independent points


def test_goal_of_a_fiftieth_db_at_bench_noise(rng):
    found = capture(SPEC, echo, noise_rms=NOISE_RMS, rng=rng).linear(GRID_HZ)
    assert np.max(np.abs(20 * np.log10(np.abs(found.value / TRUTH)))) < 0.02


def test_an_offset_is_no_part_of_the_response():
    found = capture(SPEC, lambda x, t: echo(x, t) + 0.02).linear(GRID_HZ)
    np.testing.assert_allclose(20 * np.log10(np.abs(found.value / TRUTH)), 0, atol=5e-4)


def test_harmonic_orders_come_apart_with_magnitude_and_phase():
    a2, a3, drive = 0.1, 0.5, 10 ** (SPEC.level_dbfs / 20)
    parts = capture(SPEC, lambda x, t: x(t) + a2 * x(t) ** 2 + a3 * x(t) ** 3, ppm=40.0)
    # sin**2 = 1/2 - cos(2u)/2, sin**3 = 3/4 sin(u) - sin(3u)/4
    truths = {2: a2 * drive / 2 * np.exp(-0.5j * np.pi), 3: -a3 * drive**2 / 4}
    for order, truth in truths.items():
        lowest_hz = max(parts.harmonic_from_hz(order), order * 60.0)
        # above 15 kHz the folded third harmonic of this sampled cubic (48 kHz - 3 f) crosses the second order
        grid = GRID_HZ[(lowest_hz < GRID_HZ) & (GRID_HZ < 15_000)]
        found = parts.harmonic(order, grid)
        # what leaks in from the linear response 40 to 66 dB above falls with frequency: bound at the lowest
        np.testing.assert_allclose(20 * np.log10(np.abs(found.value / truth)), 0, atol=0.1)
        np.testing.assert_allclose(np.degrees(np.angle(found.value / truth)), 0, atol=1.0)
    middle = parts.linear(np.array([1000.0])).value[0]
    assert abs(middle) == pytest.approx(1 + 0.75 * a3 * drive**2, abs=1e-5)


def test_relative_response_cancels_what_both_share():
    plain = capture(SPEC, lambda x, t: 0.5 * x(t)).linear(GRID_HZ)
    double = capture(SPEC, lambda x, t: 1.0 * x(t)).linear(GRID_HZ)
    np.testing.assert_allclose(double.relative_to(plain).magnitude_db, 20 * np.log10(2), atol=1e-9)
    with pytest.raises(ValueError, match="one frequency grid"):
        plain.relative_to(capture(SPEC, echo).linear(GRID_HZ[1:]))


def test_too_short_a_cut_is_refused():
    cut = Cut(np.zeros(4800), 0.0, 1.0, RATE_HZ)
    with pytest.raises(SegmentTooShortError):
        deconvolve_sweep(cut, excitation=np.zeros(4800), from_hz=10, to_hz=22_000, length_s=3.0)


def test_grid_holds_both_ends_and_1_khz():
    assert GRID_HZ[0] == 20 and GRID_HZ[-1] == 20_000 and 1000.0 in GRID_HZ
    assert np.all(np.diff(GRID_HZ) > 0)


def test_a_gain_that_opens_while_the_sweep_is_low_is_in_the_interval_of_what_follows():
    opened_s = SPEC.length_s / np.log(2200) * np.log(1.5)  # at 15 Hz

    def opening(x, t):
        return x(t) * (0.3 + 0.7 * np.clip(t / opened_s, 0, 1) ** 2)

    low_hz = np.array([20.0, 25.0, 30.0, 40.0, 60.0, 100.0])  # from 15 Hz on its gain is 1
    found = capture(SPEC, opening).linear(low_hz)
    error = np.abs(found.value - 1)
    assert error.max() > 3e-3  # 0.03 dB: it does reach there
    assert np.all(error < 3 * found.std + 1e-4)  # the same regularisation as above
