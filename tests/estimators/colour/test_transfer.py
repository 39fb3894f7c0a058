"""Transfer curves of polynomials, known in closed form, and colour with memory."""

import numpy as np
import pytest
from scipy.signal import freqz, lfilter

from charprobe.estimators.colour.harmonics import measure_harmonics
from charprobe.estimators.colour.transfer import memory_signs, transfer_curve
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.cut import Cut

RATE_HZ = 48_000.0
DBFS = -6.0


def cell_of(device, rng, frequency_hz=997.0, dbfs=DBFS, noise=1e-7):
    tone = Tone(0, 15_360, frequency_hz, dbfs, 0.0, 240, 0)
    x = 10 ** (dbfs / 20) * np.cos(2 * np.pi * frequency_hz * np.arange(15_360) / RATE_HZ)
    y = device(x) + rng.normal(0, noise, x.size)
    return measure_harmonics(Cut(y, 0.0, 1.0, RATE_HZ), tones=[tone])[0]


def polynomial(x):
    return 1.5 * x + 0.02 * x**2 - 0.05 * x**3 + 0.03 * x**5


def soft(x):
    return lfilter([0.6], [1, -0.4], np.tanh(lfilter([0.3], [1, -0.7], x)))


def test_the_curve_of_a_polynomial_is_the_polynomial(rng):
    curve = transfer_curve(cell_of(polynomial, rng), input_dbfs=DBFS)
    # noise of 1e-7 and orders left out below it move the curve by no more than 1e-7
    np.testing.assert_allclose(curve.y, polynomial(curve.x), atol=1e-7)
    assert curve.slope == pytest.approx(1.5, abs=1e-6)
    np.testing.assert_allclose(curve.deviation, polynomial(curve.x) - 1.5 * curve.x, atol=1e-6)


def off_centre(x):
    return (np.tanh(2 * x + 0.3) - np.tanh(0.3)) / 2


def clipped(x):
    return np.clip(x, -0.3, 0.3)


@pytest.mark.parametrize(
    ("device", "slope", "noise"),
    [(polynomial, 1.5, 3e-5), (off_centre, 1 - np.tanh(0.3) ** 2, 1e-7), (clipped, 1.0, 1e-7)],
)
def test_the_stated_uncertainty_of_each_point_holds_the_curve(device, slope, noise, rng):
    within = []
    for _ in range(6):
        curve = transfer_curve(cell_of(device, rng, noise=noise), input_dbfs=DBFS)
        truth = device(curve.x) - device(np.zeros(1))
        off = np.stack([curve.y - truth, curve.deviation - (truth - slope * curve.x)])
        within.append(np.abs(off) <= 1.96 * np.stack([curve.std, curve.deviation_std]) + 1e-15)
    # points of a draw go together, so six draws tell the share of 95 % to about a tenth
    assert np.all(np.mean(within, axis=(0, 2)) > 0.8)


def test_a_straight_device_has_no_curve(rng):
    cell = cell_of(lambda x: 0.7 * x, rng)
    assert transfer_curve(cell, input_dbfs=DBFS) is None
    assert memory_signs(cell, []) is None


def test_memory_is_seen_in_phase_and_over_frequency(rng):
    without = [cell_of(polynomial, rng, f) for f in (110.0, 997.0, 5003.0)]
    assert not memory_signs(without[1], [without[0], without[2]]).found
    beyond = [cell_of(soft, rng, f) for f in (110.0, 997.0, 5003.0)]
    signs = memory_signs(beyond[1], [beyond[0], beyond[2]])
    # the one-pole in front takes 8 dB off 5 kHz, so H3 falls by more than twice that
    assert signs.found and signs.spread_db > 10
    # the phase of the one-pole behind at 3 f, less three times that at f; only the third order is in the band
    first, third = np.angle(freqz([0.6], [1, -0.4], worN=2 * np.pi * np.array([1, 3]) * 5003 / RATE_HZ)[1])
    turned = np.degrees(third - 3 * first)
    assert 5 < turned < 90
    assert memory_signs(beyond[2], []).phase_off_deg == pytest.approx(turned, abs=0.1)
