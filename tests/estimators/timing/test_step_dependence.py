import math

import numpy as np
import pytest
from burst_device import play, recipe

from charprobe.estimators.timing.edge.times import time_edge
from charprobe.estimators.timing.step_dependence import StepTimes, step_dependence
from charprobe.estimators.timing.trace.trace_edges import trace_edges
from charprobe.values.quantity import Quantity, Unmeasured

STEPS_DB = (3.0, 10.0, 20.0)
TAU_S, HOLD_S = 0.01, 0.2
PART = 1 - math.exp(-1)


def smoothed_level_db(since_rise, since_fall, step_db, exponent):
    """Level of one pole on amplitude**exponent, in dB above the low level: closed form of a step up and down."""
    top = 10 ** (exponent * step_db / 20)
    up = 1 + (top - 1) * (1 - np.exp(-np.maximum(since_rise, 0) / TAU_S))
    highest = 1 + (top - 1) * (1 - math.exp(-HOLD_S / TAU_S))
    down = 1 + (highest - 1) * np.exp(-np.maximum(since_fall, 0) / TAU_S)
    return 20 / exponent * np.log10(np.where(since_fall < 0, up, down))


def in_db(since_rise, since_fall, step_db):
    """One pole on the level in dB."""
    up = step_db * (1 - np.exp(-np.maximum(since_rise, 0) / TAU_S))
    down = step_db * (1 - math.exp(-HOLD_S / TAU_S)) * np.exp(-np.maximum(since_fall, 0) / TAU_S)
    return np.where(since_fall < 0, up, down)


def measured(level_db, rng, slope=0.75):
    out = []
    for step in STEPS_DB:
        spec = recipe(phases=4, low_dbfs=-26.0, high_dbfs=-26.0 + step, hold_s=HOLD_S, release_s=0.3)
        device = lambda rise, fall, step=step: -slope * level_db(rise, fall, step)  # noqa: E731
        bursts, wet, dry = play(spec, device, rate_hz=48_000, ppm=10, rng=rng)
        attack, release = (time_edge(t, rest_db=None) for t in trace_edges(wet, bursts=bursts, bypass=dry))
        out.append(StepTimes(-attack.change.value, attack.t63, release.t63))
    return out


@pytest.mark.parametrize(("exponent", "name"), [(1, "amplitude"), (2, "power")])
def test_a_smoother_before_the_log_follows_its_closed_form(exponent, name, rng):
    steps = measured(lambda rise, fall, step: smoothed_level_db(rise, fall, step, exponent), rng)
    for step_db, times in zip(STEPS_DB, steps, strict=True):
        r = 10 ** (exponent * step_db / 20)
        assert times.attack_t63.value / TAU_S == pytest.approx(math.log((r - 1) / (r - r**PART)), rel=0.01)
        assert times.release_t63.value / TAU_S == pytest.approx(
            math.log((r - 1) / (r ** (1 - PART) - 1)), rel=0.01
        )
    assert step_dependence(steps).meaning == "smoothing before the curve", name


def test_a_smoother_after_the_log_does_not_depend_on_the_step(rng):
    found = step_dependence(measured(in_db, rng))
    assert found.meaning == "smoothing after the curve"
    assert found.attack_ratio.value == pytest.approx(1, abs=0.02)  # one sample of 10 ms, twice
    assert found.largest_db == pytest.approx(15, abs=0.05)


def test_fewer_than_three_timed_steps_say_nothing():
    time = Quantity.from_std(0.01, 1e-5, "s")
    none = Unmeasured("s", "too fast", "a higher rate")
    steps = [StepTimes(3, time, time), StepTimes(9, time, time), StepTimes(15, none, time)]
    assert step_dependence(steps) is None


def test_opposite_trends_are_named_neither():
    def step(depth, attack, release):
        return StepTimes(depth, Quantity.from_std(attack, 1e-6, "s"), Quantity.from_std(release, 1e-6, "s"))

    assert step_dependence([step(3, 0.01, 0.1), step(9, 0.02, 0.1), step(15, 0.03, 0.1)]).meaning == "neither"
