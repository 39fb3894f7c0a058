import numpy as np
import pytest

from charprobe.simulation.devices.parts.ballistics import FORMS, follow, follow_two_stage

RATE = 48_000.0


def step(before, after, before_s=1.0, after_s=2.0):
    return np.concatenate([np.full(int(before_s * RATE), before), np.full(int(after_s * RATE), after)])


def crossing_s(trace, level):
    """Time of the first crossing after the first sample, interpolated."""
    at = int(np.argmax((trace - level) * np.sign(trace[-1] - trace[0]) >= 0))
    return (at - 1 + (level - trace[at - 1]) / (trace[at] - trace[at - 1])) / RATE


@pytest.mark.parametrize("form", FORMS)
def test_attack_reaches_63_percent_after_its_time_constant(form):
    out = follow(step(0.0, 12.0, 0.1, 0.2), attack_s=0.01, release_s=0.3, form=form, rate_hz=RATE)
    # the pole is exp(-1/(tau fs)): exact at samples; chords between samples of an exponential differ by
    # (1/480)^2/8 of it, and the edge lies on a sample, whose value already holds one step
    assert crossing_s(out[4799:], 12 * (1 - np.exp(-1))) == pytest.approx(0.01, rel=1e-5)


@pytest.mark.parametrize("form", ["branching", "smooth branching"])
def test_release_is_one_exponential(form):
    out = follow(step(12.0, 0.0), attack_s=0.001, release_s=0.3, form=form, rate_hz=RATE)[47_999:]
    t = np.arange(out.size) / RATE
    np.testing.assert_allclose(out, 12 * np.exp(-t / 0.3), rtol=0, atol=1e-3)  # plain form rests 1/4800 short


@pytest.mark.parametrize(
    ("share", "factor"), [(0.01, 1.010), (0.05, 1.051), (0.1, 1.105), (0.2, 1.222), (0.5, 1.585)]
)
def test_decoupled_release_lasts_as_tabled(share, factor):
    tau = 0.1
    out = follow(step(10.0, 0.0), attack_s=share * tau, release_s=tau, form="smooth decoupled", rate_hz=RATE)[
        47_999:
    ]
    # the table is rounded to 0.001; two discrete poles in a row release one sample (0.2 ms/1000) early
    assert crossing_s(out, 10 * np.exp(-1)) == pytest.approx(factor * tau, rel=1e-3)


def test_smooth_release_between_two_levels_moves_in_db_as_one_exponential():
    out = follow(step(12.0, 3.0), attack_s=0.001, release_s=0.2, form="smooth branching", rate_hz=RATE)[
        47_999:
    ]
    assert crossing_s(out, 3 + 9 * np.exp(-1)) == pytest.approx(0.2, rel=1e-5)


def test_hold_delays_the_release_by_itself():
    out = follow(
        step(12.0, 0.0), attack_s=0.001, release_s=0.1, hold_s=0.05, form="smooth branching", rate_hz=RATE
    )[47_999:]
    np.testing.assert_allclose(out[: int(0.05 * RATE) + 1], 12.0, rtol=0, atol=1e-9)  # rounding
    assert crossing_s(out, 12 * np.exp(-1)) == pytest.approx(0.15, abs=1 / RATE)  # dead time in whole samples


@pytest.mark.parametrize("level_db", [0.0, -30.0, -80.0])
def test_a_hold_lasts_as_long_at_any_level(level_db):
    size = 10 ** (level_db / 20)
    target = step(size, 0.5 * size, 0.1, 0.2)
    falls = np.flatnonzero(target < size)[0]
    held = follow(
        target, attack_s=0.0, release_s=0.1, hold_s=0.05, form="smooth branching", rate_hz=RATE, in_db=False
    )
    moves = np.flatnonzero(held < size * (1 - 1e-9))[0] - falls
    assert moves == round(0.05 * RATE)


@pytest.mark.parametrize("hold_s", [0.05, 0.4, 3.0])
def test_two_stage_release_follows_its_closed_form(hold_s):
    fast, slow, charge, share = 0.05, 0.8, 0.4, 0.6
    out = follow_two_stage(
        step(10.0, 0.0, hold_s),
        attack_s=0.001,
        fast_s=fast,
        slow_s=slow,
        charge_s=charge,
        slow_share=share,
        rate_hz=RATE,
    )
    edge = round(hold_s * RATE) - 1
    assert out[edge] == pytest.approx(10.0, abs=1e-9)  # 50 attacks long
    t = np.arange(out.size - edge) / RATE
    slow_part = share * (1 - np.exp(-hold_s / charge))
    recovery = 10 * ((1 - slow_part) * np.exp(-t / fast) + slow_part * np.exp(-t / slow))
    np.testing.assert_allclose(out[edge:], recovery, rtol=0, atol=1e-9)  # rounding


def test_two_stage_attack_is_one_exponential_and_never_passes_the_target():
    out = follow_two_stage(
        step(0.0, 10.0, 0.1),
        attack_s=0.01,
        fast_s=0.05,
        slow_s=0.8,
        charge_s=0.1,
        slow_share=0.6,
        rate_hz=RATE,
    )
    assert out.max() <= 10 + 1e-9
    assert crossing_s(out[4799:], 10 * (1 - np.exp(-1))) == pytest.approx(0.01, rel=1e-5)
