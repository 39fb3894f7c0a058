import dataclasses
import math

import numpy as np
import pytest
from burst_device import exponential, play, recipe
from held_truths import expected_inside
from timed_edges import PARTS, times

from charprobe.estimators.timing.edge.times import believed, in_order, time_edge
from charprobe.estimators.timing.trace.trace_edges import trace_edges
from charprobe.values.quantity import Quantity, Unmeasured


@pytest.mark.parametrize("tau_s", [1e-4, 3e-4, 1e-3, 1e-2, 5e-2])
def test_attack_times_equal_the_closed_form(tau_s, rng):
    device = exponential(attack_s=tau_s, release_s=0.05, depth_db=10, hold_s=0.5)
    attack, _ = times(device, rng, hold_s=0.5, release_s=0.4)
    for name in ("t63", "t90"):
        truth = -tau_s * math.log(1 - PARTS[name])
        assert getattr(attack, name).value == pytest.approx(
            truth, rel=0.02, abs=1 / 48_000
        )  # the stated goal


@pytest.mark.parametrize("tau_s", [0.02, 0.1, 0.5])
def test_release_times_equal_the_closed_form(tau_s, rng):
    device = exponential(attack_s=0.002, release_s=tau_s, depth_db=8, hold_s=0.1)
    _, release = times(device, rng, hold_s=0.1, release_s=max(0.2, 5 * tau_s))
    for name, part in PARTS.items():
        assert getattr(release, name).value == pytest.approx(
            -tau_s * math.log(1 - part), rel=0.01
        )  # the goal


def test_within_n_db_follows_its_closed_form(rng):
    # definitions of the hearing-aid kind: t = tau ln(dG / eps)
    device = exponential(attack_s=0.004, release_s=0.08, depth_db=17.5, hold_s=0.4)
    attack, release = times(device, rng)
    for limit in (2, 3, 4):
        for tau_s, edge in ((0.004, attack), (0.08, release)):
            truth = tau_s * math.log(17.5 / limit)
            assert getattr(edge, f"within_{limit}db").value == pytest.approx(truth, rel=0.01)


def test_within_n_db_of_a_smaller_change_is_not_a_number(rng):
    attack, _ = times(exponential(attack_s=0.004, release_s=0.08, depth_db=2.5, hold_s=0.4), rng)
    assert isinstance(attack.within_2db, Quantity)
    assert isinstance(attack.within_3db, Unmeasured)
    assert "2.5 dB" in attack.within_3db.reason


def test_overshoot_of_the_gain(rng):
    def device(since_rise, since_fall):
        t = np.maximum(since_rise, 0)
        down = -10 * (1 - np.exp(-t / 0.002)) - 3 * (t / 0.01) * np.exp(1 - t / 0.01) * (since_rise > 0)
        return np.where(since_fall < 0, down, down * np.exp(-np.maximum(since_fall, 0) / 0.05))

    attack, _ = times(device, rng)
    t = np.linspace(0, 0.4, 400_001)
    truth = -10 - np.min(-10 * (1 - np.exp(-t / 0.002)) - 3 * (t / 0.01) * np.exp(1 - t / 0.01))
    assert attack.overshoot.value == pytest.approx(
        truth, abs=0.01
    )  # flat top: means of a few points lose little


def test_a_wire_has_nothing_to_time(rng):
    attack, release = times(lambda rise, fall: np.zeros_like(rise), rng)
    for edge in (attack, release):
        assert isinstance(edge.t63, Unmeasured)
        assert "nothing to time" in edge.t63.reason
        assert edge.change.value == pytest.approx(0, abs=0.001)


@pytest.mark.parametrize("noise_dbfs", [-95.0, -80.0])
def test_intervals_hold_the_truth(noise_dbfs, rng, draws=14):
    inside, count = 0, 0
    for _ in range(draws):
        tau_a, tau_r = 10 ** rng.uniform(-3.5, -2), 10 ** rng.uniform(-1.7, -1)
        device = exponential(attack_s=tau_a, release_s=tau_r, depth_db=rng.uniform(4, 15), hold_s=0.1)
        edges = times(
            device, rng, noise_dbfs=noise_dbfs, hold_s=0.1, release_s=6 * tau_r, phases=4, lead_s=0.05
        )
        for edge, tau_s in zip(edges, (tau_a, tau_r), strict=True):
            for name, part in PARTS.items():
                reading = getattr(edge, name)
                if isinstance(reading, Quantity):
                    count += 1
                    inside += reading.low <= -tau_s * math.log(1 - part) <= reading.high
    assert count >= 5 * draws  # of six times each
    assert inside > expected_inside(count)


def test_every_reading_is_a_quantity_or_has_a_reason(rng):
    attack, _ = times(exponential(attack_s=0.004, release_s=0.08, depth_db=12, hold_s=0.4), rng)
    for field in dataclasses.fields(attack):
        reading = getattr(attack, field.name)
        if isinstance(reading, Unmeasured):
            assert reading.reason
            assert reading.next


def test_a_gain_that_runs_on_past_its_rest_when_the_record_ends_is_within_no_margin_yet(rng):
    # 10 dB down fast, on to 14 within 30 ms, and back to 10 only afterwards, as a longer burst showed
    def device(since_rise, since_fall):
        t = np.maximum(since_rise, 0)
        down = -10 * (1 - np.exp(-t / 0.002)) - 4 * np.minimum(t / 0.03, 1.0)
        return np.where(since_fall < 0, down, down * np.exp(-np.maximum(since_fall, 0) / 0.05))

    bursts, wet, dry = play(recipe(hold_s=0.03, release_s=0.3), device, rate_hz=48_000, rng=rng)
    trace, _ = trace_edges(wet, bursts=bursts, bypass=dry)
    attack = time_edge(trace, rest_db=None, rest=Quantity.from_std(-10.0, 1e-6, "dB"))
    for reading in (attack.within_2db, attack.within_3db, attack.overshoot):
        assert isinstance(reading, Unmeasured)
        assert "moving on" in reading.reason
    assert attack.within_2db.at_least < 0.03
    assert attack.overshoot.at_least == pytest.approx(4.0, abs=0.4)  # what had been seen of it
    assert isinstance(attack.t63, Quantity)


def test_a_release_may_stop_on_crests_before_its_law_ends(rng):
    device = exponential(attack_s=0.002, release_s=0.1, depth_db=10, hold_s=0.1)
    bursts, wet, dry = play(recipe(hold_s=0.1, release_s=0.5), device, rate_hz=48_000, rng=rng)
    _, trace = trace_edges(wet, bursts=bursts, bypass=dry)
    left_db = 10 * math.exp(-5)
    sure, unsure, near = (
        time_edge(
            trace, rest_db=None, rest=Quantity.from_std(rest_db, 0.05, "dB"), on_crests=crests
        ).after.std
        for rest_db, crests in ((-0.05, False), (-0.05, True), (-0.002, True))
    )
    assert unsure == pytest.approx(0.3 * left_db, rel=0.2)  # a third of what was left to go: anywhere on it
    assert sure < near < 0.004  # where both agree that far, nothing is doubted by more


def test_a_carried_on_end_is_not_believed_where_another_height_had_none_in_as_long(rng):
    attack, _ = times(exponential(attack_s=0.004, release_s=0.08, depth_db=12, hold_s=0.4), rng)
    unended = dataclasses.replace(attack, settled=False)
    carried = dataclasses.replace(attack, left=0.05)
    longer = dataclasses.replace(carried, end_s=2 * attack.end_s)
    assert believed([carried, attack]) == [carried, attack]
    bounds, *others = believed([carried, unended, attack, longer])
    assert others == [unended, attack, longer]  # what was at rest, or seen for longer, is believed
    assert not bounds.settled
    assert bounds.t63.at_least == attack.t63.low
    assert isinstance(bounds.change, Unmeasured)


def test_a_release_that_hardly_begins_before_its_record_ends_is_at_least_as_long(rng):
    device = exponential(attack_s=0.004, release_s=200.0, depth_db=6, hold_s=0.3)
    bursts, wet, dry = play(recipe(hold_s=0.3, release_s=0.4), device, rate_hz=48_000, rng=rng)
    _, trace = trace_edges(wet, bursts=bursts, bypass=dry)
    release = time_edge(trace, rest_db=None, rest=Quantity.from_std(0.0, 0.5, "dB"))
    assert not release.settled
    assert release.t63.at_least == pytest.approx(release.end_s)
    assert "6.0 dB to go" in release.t63.reason


def test_times_that_noise_has_turned_round_become_one_and_others_stay():
    def time(value, reach):
        return Quantity(value, value - reach, value + reach, "s")

    unknown = Unmeasured("s", "nothing to time", "none")
    assert in_order([time(2.0, 0.3), time(1.9, 0.2), time(4.0, 0.1)]) == [
        Quantity(1.95, 1.7, 2.3, "s"), Quantity(1.95, 1.7, 2.3, "s"), time(4.0, 0.1)
    ]  # fmt: skip
    apart = [time(2.0, 0.01), unknown, time(1.5, 0.01)]
    assert in_order(apart) == apart
