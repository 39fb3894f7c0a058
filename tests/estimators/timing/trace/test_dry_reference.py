import numpy as np
import pytest
from burst_device import exponential, play, recipe

from charprobe.estimators.timing.trace.trace_edges import trace_edges
from charprobe.values.cut import Cut

ATTACK_S, RELEASE_S, DEPTH_DB = 0.001, 0.1, 12.0


DEVICE = exponential(attack_s=ATTACK_S, release_s=RELEASE_S, depth_db=DEPTH_DB, hold_s=0.4)


def test_levels_are_those_of_the_bypass(rng):
    bursts, wet, dry = play(recipe(), DEVICE, rate_hz=48_000, rng=rng)
    quieter = Cut(0.5 * dry.samples, dry.start, dry.step, dry.rate_hz)
    attack, _ = trace_edges(wet, bursts=bursts, bypass=quieter)
    assert attack.from_dbfs == pytest.approx(-40 - 6.0206, abs=1e-3)
    assert attack.to_dbfs == pytest.approx(-10 - 6.0206, abs=1e-3)
    assert attack.gain_db[0] == pytest.approx(6.0206, abs=0.01)


def test_inverted_polarity_changes_nothing(rng):
    bursts, wet, dry = play(recipe(), DEVICE, rate_hz=48_000, rng=rng)
    flipped = Cut(-wet.samples, wet.start, wet.step, wet.rate_hz)
    for straight, inverted in zip(
        trace_edges(wet, bursts=bursts, bypass=dry),
        trace_edges(flipped, bursts=bursts, bypass=dry),
        strict=True,
    ):
        np.testing.assert_allclose(straight.gain_db, inverted.gain_db, atol=1e-9)  # rounding only
