import math

import numpy as np
import pytest

from charprobe.comparing.equivalence import Estimate, combined, gap, repeat_variance, weighted

TRIALS = 4000
MOST = 0.05 + 3 * math.sqrt(0.05 * 0.95 / TRIALS)  # a true rate of 5 % passes at three sigma


@pytest.mark.parametrize(
    ("shift", "verdict"), [(0.0, "same"), (0.05, "same"), (0.2, "different"), (0.1, "cannot tell")]
)
def test_half_the_margin_is_the_same_and_twice_the_margin_is_different(shift, verdict):
    assert gap(Estimate(1.0, 0.005), Estimate(1.0 + shift, 0.005), margin=0.1, tests=1).verdict == verdict


def test_noise_larger_than_the_margin_settles_nothing():
    for shift in (0.0, 0.05, 0.2):
        assert gap(Estimate(0, 0.2), Estimate(shift, 0.2), margin=0.1, tests=1).verdict == "cannot tell"


@pytest.mark.parametrize(("word", "std"), [("same", 0.02), ("different", 0.02)])
def test_at_the_margin_itself_each_wrong_verdict_comes_at_most_once_in_twenty(rng, word, std):
    wrong = 0
    for noise in rng.normal(0, std, (TRIALS, 2)):
        pair = Estimate(noise[0], std), Estimate(0.1 + noise[1], std)
        wrong += gap(*pair, margin=0.1, tests=1).verdict == word
    assert wrong / TRIALS <= MOST


def test_twenty_tests_together_keep_the_risk_of_one(rng):
    wrong = 0
    for noise in rng.normal(0, 0.02, (TRIALS // 4, 20)):
        found = [gap(Estimate(0, 0), Estimate(0.1 + e, 0.02), margin=0.1, tests=20).verdict for e in noise]
        wrong += "same" in found
    assert wrong / (TRIALS // 4) <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / (TRIALS // 4))


def test_two_repeats_each_are_judged_by_their_own_scatter(rng):
    """Repeats that move ten times more than their intervals say must not make the verdicts wrong."""
    wrong = 0
    for noise in rng.normal(0, 0.03, (TRIALS, 2, 2)):
        sides = [noise[0].tolist(), (0.1 + noise[1]).tolist()]
        variance, freedom = repeat_variance(sides)
        pair = [
            combined([Estimate(v, 0.003) for v in side], variance=variance, freedom=freedom) for side in sides
        ]
        wrong += gap(*pair, margin=0.1, tests=1).verdict != "cannot tell"
    assert freedom == 2
    assert wrong / TRIALS <= 2 * MOST  # either wrong verdict, each at most 5 %


def test_the_printed_interval_is_the_95_percent_one():
    found = gap(Estimate(0, 0.3), Estimate(1, 0.4), margin=0.1, tests=50)
    np.testing.assert_allclose([found.low, found.high], [1 - 1.959964 * 0.5, 1 + 1.959964 * 0.5], rtol=1e-6)


def test_one_pooled_variance_on_both_sides_keeps_its_own_freedom():
    both = Estimate(0.0, 0.01, 2.0), Estimate(0.05, 0.01, 2.0)
    # Student's t with 2 degrees of freedom at 95 %: 2.920; 0.05 + 2.92 * 0.0141 = 0.0913
    assert gap(*both, margin=0.0914, tests=1).verdict == "same"
    assert gap(*both, margin=0.0912, tests=1).verdict == "cannot tell"


@pytest.mark.parametrize("std_of_other", [1.0, 0.1, 0.01])
def test_merged_takes_hold_the_truth_as_often_as_stated_and_are_no_worse_than_the_better(rng, std_of_other):
    draws = rng.normal(0.0, [1.0, std_of_other], (4000, 2))
    found = [weighted([Estimate(a, 1.0), Estimate(b, std_of_other)]) for a, b in draws]
    held = np.mean([abs(one.value) <= 1.96 * one.std for one in found])
    assert 0.945 < held < 0.99  # 95 % to 3.5 sigma of 4000; disagreements of pure chance widen some
    assert np.mean([one.std <= std_of_other * (1 + 1e-12) for one in found]) > 0.94
