import numpy as np
import pytest

from charprobe.simulation.devices.chain import Chain, Wire
from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.simulation.devices.parts.filters import Filter, treble_shelf
from charprobe.simulation.devices.parts.gain_computer import Bend
from charprobe.simulation.devices.shapers import Polynomial, Shaper

RATE = 48_000.0
DYNAMICS = Compressor("d", "d", (Bend(-30, 0.5),), attack_s=0.005, release_s=0.1, makeup_db=2.0)
COLOUR = Shaper("c", "c", Polynomial((0.02, -0.1)))
TOP = Filter("t", "t", (treble_shelf(corner_hz=4000, gain_db=3),), {})


def test_chain_is_its_parts_one_after_the_other(rng):
    x = rng.normal(0, 0.1, 9600)
    out = Chain("all", "all", (DYNAMICS, COLOUR, TOP), {}).process(x, rate_hz=RATE, rng=rng)
    step = DYNAMICS.process(x, rate_hz=RATE, rng=rng)
    expected = TOP.process(COLOUR.process(step.samples, rate_hz=RATE, rng=rng).samples, rate_hz=RATE, rng=rng)
    np.testing.assert_array_equal(out.samples, expected.samples)
    np.testing.assert_array_equal(out.gain_db, step.gain_db)


def test_each_part_meets_the_level_the_one_before_it_leaves():
    level = np.array([-10.0])
    after = level + DYNAMICS.static_gain_db(level)
    expected = after + COLOUR.static_gain_db(after) + TOP.static_gain_db(after) - level
    found = Chain("all", "all", (DYNAMICS, COLOUR, TOP), {}).static_gain_db(level)
    assert found[0] == pytest.approx(expected[0], abs=1e-12)


def test_wire_returns_what_it_gets(rng):
    x = rng.normal(size=100)
    out = Wire("w", "w").process(x, rate_hz=RATE, rng=rng)
    np.testing.assert_array_equal(out.samples, x)
    assert not out.gain_db.any()
