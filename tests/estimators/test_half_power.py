"""Corners of first-order filters re 1 kHz have a closed form."""

import math

import numpy as np
import pytest

from charprobe.estimators.half_power import half_power_corner
from charprobe.values.quantity import Unmeasured

F = np.geomspace(20.0, 20_000.0, 121)
STD_DB = np.full(F.size, 0.003)


@pytest.mark.parametrize(("side", "corner_hz"), [("low", 90.0), ("high", 7000.0)])
def test_the_crossing_is_half_of_the_power_at_1_khz(side, corner_hz):
    power = 1 + ((corner_hz / F) if side == "low" else (F / corner_hz)) ** 2
    # 1 + (f / fc)**2 = 2 (1 + (1 kHz / fc)**2), and the same with both ratios turned round
    ratio = 1000 / corner_hz if side == "high" else corner_hz / 1000
    truth = corner_hz * math.sqrt(1 + 2 * ratio**2) ** (1 if side == "high" else -1)
    found = half_power_corner(F, -10 * np.log10(power), STD_DB, side=side)
    assert found.value == pytest.approx(truth, rel=1e-3)  # a parabola through points 6 % apart
    # the slope at the crossing carries the level's uncertainty to the frequency
    slope = 20 / math.log(10) * (1 - 1 / (2 * (1 + ratio**2)))
    reach = 1.96 * math.hypot(0.003, 0.003) / slope
    assert math.log(found.high / found.value) == pytest.approx(reach, rel=0.1)


def test_a_band_that_does_not_end_has_bounds():
    low, high = (half_power_corner(F, 0 * F, STD_DB, side=side) for side in ("low", "high"))
    assert isinstance(low, Unmeasured) and low.at_most == pytest.approx(20)
    assert isinstance(high, Unmeasured) and high.at_least == pytest.approx(20_000)


def test_a_dip_that_the_response_comes_back_from_is_no_corner():
    hz = np.geomspace(20.0, 20e3, 121)
    dip_db = -8 * np.exp(-((np.log2(hz / 400) / 0.4) ** 2))
    told = half_power_corner(hz, dip_db, np.full(hz.size, 0.001), side="low")
    assert told.at_most == pytest.approx(20.0) and "comes back" in told.reason
    cut_db = dip_db - 10 * np.log10(1 + (40 / hz) ** 4)
    found = half_power_corner(hz, cut_db, np.full(hz.size, 0.001), side="low")
    assert found.value == pytest.approx(40.0, rel=0.02)


@pytest.mark.parametrize("edge_hz", np.geomspace(9000, 15_000, 7))
@pytest.mark.parametrize("after", [1, 2, 3])
def test_the_steep_end_of_a_converter_lies_within_its_interval_however_few_points_show_it(edge_hz, after):
    fall = np.clip((F / edge_hz - 1) / 0.15, 0.0, 1.0)  # the end of a long filter falls as a raised cosine
    share = np.maximum(0.5 + 0.5 * np.cos(np.pi * fall), 1e-6)
    truth = edge_hz * (1 + 0.15 / np.pi * np.arccos(math.sqrt(2) - 1))
    stop = int(np.flatnonzero(share < math.sqrt(0.5))[0]) + after  # the rest drowns in noise
    found = half_power_corner(F[:stop], 20 * np.log10(share[:stop]), STD_DB[:stop], side="high")
    assert found.low < truth < found.high and found.high < 1.1 * found.low
