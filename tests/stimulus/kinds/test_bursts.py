import math

import numpy as np
import pytest
from one_segment import RATE_HZ, one

from charprobe.stimulus.kinds.bursts import BurstLengths, Bursts, BurstTrain, edge_phase

BURSTS = Bursts("bursts", 3989.0, 8, -30.0, -3.0, 0.05, 0.02, 0.1)


def test_a_phase_set_has_constant_energy_at_every_sample_between_its_ends():
    segment, samples = one(BURSTS)
    ends = 2 * round(0.005 * RATE_HZ)
    total = 0.0
    for k in range(8):
        low, high, _ = segment.tones[3 * k : 3 * k + 3]
        # the phase advances by pi/8, the polarity alternates
        assert high.phase_rad == pytest.approx(k * (np.pi + np.pi / 8) % (2 * np.pi))
        begin = low.start - segment.span.start
        total = total + samples[begin : begin + 3 * 2400 + 960][ends:-ends] ** 2
    lead = low.length - ends
    np.testing.assert_allclose(total[:lead], 4 * 10 ** (-30 / 10), rtol=1e-9)  # K/2 A²: a sum of shifted cos²
    np.testing.assert_allclose(total[lead : lead + 960], 4 * 10 ** (-3 / 10), rtol=1e-9)


def test_an_odd_phase_set_cancels_even_orders():
    for phases in (5, 7):  # of 3 phases a third of the residue stays
        angles = np.array([edge_phase(k, phases=phases) for k in range(phases)])
        carrier = np.cos(angles + np.linspace(0, 6, 50)[:, None])
        np.testing.assert_allclose(np.sum(carrier**2, axis=1), phases / 2, rtol=1e-12)
        np.testing.assert_allclose(np.sum(carrier**3, axis=1), 0, atol=1e-12)  # x times its own square


def test_burst_lengths_hold_as_long_as_asked():
    segment, _ = one(BurstLengths("b", 3989.0, 2, -30.0, -3.0, 0.05, (0.01, 0.1), 0.2))
    highs = [t for t in segment.tones if t.level_dbfs == -3.0]
    assert [t.length for t in highs] == [480, 480, 4800, 4800]
    assert [t.group for t in segment.tones] == [g for g in range(4) for _ in range(3)]


def test_a_train_of_bursts_alternates_and_keeps_its_carrier_running():
    spec = BurstTrain("p", 3989.0, 3, -30.0, -3.0, 0.05, 0.02, 0.03, 4, 0.2)
    segment, samples = one(spec)
    first = [tone for tone in segment.tones if tone.group == 0]
    assert [t.level_dbfs for t in first] == [-30.0, *[-3.0, -30.0] * 4]
    assert [t.length for t in first] == [2400, *[960, 1440] * 3, 960, 9600]
    start = first[0].start
    for tone in first:
        turns = tone.phase_rad - first[0].phase_rad - 2 * np.pi * 3989 * (tone.start - start) / RATE_HZ
        assert abs(math.remainder(turns, 2 * np.pi)) < 1e-8
    # of a phase set the squares add up to a constant in every burst
    length = first[-1].stop - start
    starts = [tone.start - segment.span.start for tone in segment.tones][::9]
    total = sum(samples[begin : begin + length] ** 2 for begin in starts)
    in_burst = slice(2400 + 3 * (960 + 1440), 2400 + 3 * (960 + 1440) + 960)
    np.testing.assert_allclose(total[in_burst], 1.5 * 10 ** (-3 / 10), rtol=1e-9)
