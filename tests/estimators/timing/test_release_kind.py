import numpy as np
import pytest
from burst_device import exponential, play, recipe
from held_truths import expected_inside

from charprobe.estimators.timing.edge.times import time_edge
from charprobe.estimators.timing.release_kind import classify_movement, waited_s
from charprobe.estimators.timing.trace.trace_edges import trace_edges
from charprobe.values.quantity import Quantity, Unmeasured

HOLD_S, DEPTH_DB = 0.2, 12.0


def kind_of(shape, rng, *, release_s=2.0, noise_dbfs=-105.0):
    """Kind of a release whose share still to go is `shape` of the time since the fall."""

    def device(since_rise, since_fall):
        down = -DEPTH_DB * (1 - np.exp(-np.maximum(since_rise, 0) / 0.002))
        return np.where(since_fall < 0, down, -DEPTH_DB * shape(np.maximum(since_fall, 0)))

    spec = recipe(phases=4, hold_s=HOLD_S, release_s=release_s)
    bursts, wet, dry = play(spec, device, rate_hz=48_000, ppm=15, rng=rng, noise_dbfs=noise_dbfs)
    _, trace = trace_edges(wet, bursts=bursts, bypass=dry)
    edge = time_edge(trace, rest_db=None)
    return classify_movement(
        trace,
        before_db=edge.before.value,
        after_db=edge.after.value,
        after_std_db=edge.after.std,
        t63=edge.t63,
        t90=edge.t90 if isinstance(edge.t90, Quantity) else None,
    )


def test_one_exponential(rng):
    kind = kind_of(lambda t: np.exp(-t / 0.12), rng)
    assert kind.kind == "exponential"
    assert kind.stages.value == 1
    assert kind.tau_1.value == pytest.approx(0.12, rel=0.01)  # the goal for releases
    assert not isinstance(kind.tau_2, Quantity)


@pytest.mark.parametrize(
    ("fast_s", "slow_s", "share"), [(0.05, 0.4, 0.5), (0.03, 0.5, 0.3), (0.08, 0.5, 0.75)]
)
def test_two_stages(fast_s, slow_s, share, rng):
    kind = kind_of(
        lambda t: share * np.exp(-t / fast_s) + (1 - share) * np.exp(-t / slow_s), rng, release_s=3.0
    )
    assert kind.kind == "two-stage"
    assert kind.stages.value == 2
    assert kind.tau_1.value == pytest.approx(fast_s, rel=0.05)  # the goal for two-stage constants
    assert kind.tau_2.value == pytest.approx(slow_s, rel=0.05)
    assert kind.share_1.value == pytest.approx(100 * share, abs=5)


def test_straight_line_in_db(rng):
    kind = kind_of(lambda t: np.maximum(0, 1 - t / 0.5), rng)
    assert kind.kind == "straight"
    assert kind.rate.value == pytest.approx(DEPTH_DB / 0.5, rel=0.01)
    assert not isinstance(kind.stages, Quantity)


def test_hold_is_told_from_the_time_constant(rng):
    kind = kind_of(lambda t: np.exp(-np.maximum(0, t - 0.04) / 0.1), rng)
    assert kind.kind == "exponential"
    assert kind.hold.value == pytest.approx(0.04, abs=5e-4)  # half a per cent of the time constant
    assert kind.tau_1.value == pytest.approx(0.1, rel=0.01)


def test_two_poles_in_a_row_are_not_two_stages(rng):
    # 1.0/0.5: the S-shaped start of cascaded smoothers must not count as a second stage of release
    fast, slow = 0.02, 0.1
    kind = kind_of(lambda t: (slow * np.exp(-t / slow) - fast * np.exp(-t / fast)) / (slow - fast), rng)
    assert kind.kind == "exponential"
    assert kind.tau_1.low <= slow <= kind.tau_1.high
    assert kind.tau_1.value == pytest.approx(slow, rel=0.01)  # the fast pole is over before 63 %
    assert kind.hold.low == 0  # the gain moves from the edge on, however slowly


def test_a_line_with_rounded_ends_has_the_speed_of_its_middle(rng):
    # a line seen through a box of 0.1 s: in the middle as steep as ever; the fit bends with the ends
    span_s, box_s = 0.5, 0.1
    late = np.linspace(0, box_s, 51)

    def left(t):
        return np.mean([np.clip(1 - (t - s) / span_s, 0, 1) for s in late], axis=0)

    kind = kind_of(left, rng)
    assert kind.kind == "straight"
    assert kind.rate.low <= DEPTH_DB / span_s <= kind.rate.high
    assert kind.hold.low == 0


def test_a_target_that_falls_in_a_straight_line_bends_no_constant(rng):
    # level in dB falls evenly for 100 ms, as behind a mean square, and a smoother of 150 ms follows
    span, tau = 0.1, 0.15

    def left(t):
        within = 1 - (t - tau * (1 - np.exp(-t / tau))) / span
        end = 1 - (span - tau * (1 - np.exp(-span / tau))) / span
        return np.where(t < span, within, end * np.exp(-(t - span) / tau))

    kind = kind_of(left, rng)
    assert kind.kind == "exponential"
    assert kind.tau_1.low <= tau <= kind.tau_1.high
    assert kind.tau_1.value == pytest.approx(tau, rel=0.01)  # the goal: past 63 % nothing else moves


def test_noise_does_not_make_a_second_stage(rng):
    for _ in range(5):
        kind = kind_of(lambda t: np.exp(-t / 0.15), rng, noise_dbfs=-75)
        assert kind.kind == "exponential"
        assert kind.tau_1.low <= 0.15 * 1.01
        assert kind.tau_1.high >= 0.15 * 0.99


def test_an_odd_shape_is_called_other(rng):
    kind = kind_of(
        lambda t: np.where(
            t < 0.5, 1 - 0.4 * np.sqrt(t / 0.5), 0.6 * np.maximum(0, 1 - ((t - 0.5) / 0.6) ** 3)
        ),
        rng,
    )
    assert kind.kind == "other"
    assert "no simple law" in kind.stages.reason


def test_intervals_of_the_constant_hold_the_truth(rng, draws=10):
    inside = 0
    for _ in range(draws):
        tau_s = 10 ** rng.uniform(-1.5, -0.7)
        device = exponential(attack_s=0.002, release_s=tau_s, depth_db=10, hold_s=0.1)
        spec = recipe(phases=4, hold_s=0.1, release_s=8 * tau_s, lead_s=0.05)
        bursts, wet, dry = play(spec, device, rate_hz=48_000, rng=rng, noise_dbfs=-85)
        _, trace = trace_edges(wet, bursts=bursts, bypass=dry)
        edge = time_edge(trace, rest_db=None)
        found = classify_movement(
            trace, before_db=edge.before.value, after_db=edge.after.value, after_std_db=edge.after.std,
            t63=edge.t63,
            t90=edge.t90 if isinstance(edge.t90, Quantity) else None,
        )  # fmt: skip
        inside += found.tau_1.low <= tau_s <= found.tau_1.high
    assert inside > expected_inside(draws)


def test_a_law_that_two_stages_only_come_near_to_is_not_said_to_have_them(rng):
    """Falls as one over time, then exponentially, after a detector that takes 3 ms to let go."""

    def left(t):
        since = np.maximum(t - 0.003 * (1 - np.exp(-t / 0.003)), 0.0)
        return 1 / ((1 + 26.8) * np.exp(since / 0.6) - 26.8)

    assert kind_of(left, rng, release_s=0.6).kind == "other"


@pytest.mark.parametrize(("times_faster", "slow_s"), [(8.0, 0.4), (24.0, 0.6)])
def test_what_lets_go_the_faster_the_deeper_is_not_said_to_have_two_stages(times_faster, slow_s, rng):
    """The rate is (1 + times_faster * share) / slow_s: closed form of a Bernoulli equation."""

    def left(t):
        return 1 / ((1 + times_faster) * np.exp(t / slow_s) - times_faster)

    assert kind_of(left, rng, release_s=4.0).kind == "other"


def test_an_exponential_that_would_go_on_beyond_the_rest_is_none(rng):
    # heads for a tenth more than it has to go and stops on its way: t90 comes 1.92 times as late as t63
    kind = kind_of(lambda t: np.maximum(0, 1.1 * np.exp(-t / 0.15) - 0.1), rng)
    assert kind.kind == "other"
    assert not isinstance(kind.tau_1, Quantity)


@pytest.mark.parametrize(
    ("t63_s", "waits_s"), [(0.151, 0.0), (0.18, 0.031)]
)  # 1 ms is less than the constant's doubt
def test_a_law_waits_behind_a_rounded_start_and_at_none(t63_s, waits_s):
    hold = Unmeasured("s", "no dead time stands out", "", at_most=0.031)
    t63, stages, tau_1 = (Quantity.from_std(value, 0.0, "") for value in (t63_s, 1.0, 0.15))
    assert waited_s(hold, t63=t63, stages=stages, tau_1=tau_1) == waits_s
    assert waited_s(t63, t63=t63, stages=stages, tau_1=tau_1) == t63_s
    assert waited_s(None, t63=t63, stages=stages, tau_1=tau_1) == 0.0
