import numpy as np
import pytest

from tests.simulation import drawn_kinds as kinds

LEVELS = np.linspace(-80, 0, 801)
DRAWS = 40


def slopes(stage):
    """dB per dB of the settled output between neighbouring levels."""
    return np.diff(LEVELS + stage.static_gain_db(LEVELS)) / np.diff(LEVELS)


def test_two_bends_flatten_twice(rng):
    for _ in range(DRAWS):
        stage = kinds.draw_two_bends(rng)
        assert slopes(stage)[0] == pytest.approx(1)
        middle = slopes(stage)[
            int(10 * (80 + stage.bends[1].threshold_dbfs - stage.bends[1].knee_db / 2)) - 12
        ]
        assert middle == pytest.approx(stage.truth["static.slope"].value, abs=1e-6)
        assert stage.truth["static.second_slope"].value <= 0.1 + 1e-9


def test_expander_falls_faster_and_upward_slower_below(rng):
    for _ in range(DRAWS):
        expander, upward = kinds.draw_expander(rng), kinds.draw_upward(rng)
        assert slopes(expander).max() == pytest.approx(expander.truth["static.lower_slope"].value, abs=1e-6)
        assert slopes(upward).min() == pytest.approx(upward.truth["static.lower_slope"].value, abs=1e-6)
        assert slopes(expander)[-1] == slopes(upward)[-1] == pytest.approx(1)


def test_over_compressor_falls_and_straight_does_not_move(rng):
    for _ in range(DRAWS):
        assert slopes(kinds.draw_over_compressor(rng))[-1] < -0.04
        np.testing.assert_allclose(slopes(kinds.draw_straight(rng)), 1, rtol=0, atol=1e-9)


def test_saturating_top_is_driven_to_distortion(rng):
    for _ in range(DRAWS):
        front, top = kinds.draw_saturating(rng).parts
        arriving_dbfs = front.static_gain_db(np.array([0.0]))[0]
        assert 0 <= arriving_dbfs <= 5 + 1e-9
        # third over first of tanh(u) = u - u**3/3 is u**2/12 to first order, here with u of 0.8 and more
        assert top.harmonics_dbc(arriving_dbfs)[1] > 20 * np.log10(0.8**2 / 12) - 3


def test_two_stage_times_can_be_told_apart(rng):
    for _ in range(DRAWS):
        truth = kinds.draw_two_stage(rng).truth
        assert truth["release.tau_2"].value > 5 * truth["release.tau_1"].value
        assert 29 < truth["release.tau_1_share"].value < 71


def test_mean_square_and_feedback_state_their_curve(rng):
    for _ in range(DRAWS):
        assert kinds.draw_mean_square(rng).truth["detector.exponent"].value == 2
        feedback = kinds.draw_feedback(rng)
        assert slopes(feedback)[-1] == pytest.approx(feedback.truth["static.slope"].value, abs=0.2)
