import numpy as np
import pytest

from charprobe.estimators.static.bends import Shape
from charprobe.estimators.static.curve_choice import choose_curve

LEVEL = np.repeat(np.arange(-60.0, -1.0, 1.5), 2)
SIGMA_DB = 0.003


def knee(over, width):
    inside = np.clip(over + width / 2, 0, width)
    return inside**2 / (2 * width) + np.maximum(0, over - width / 2) if width else np.maximum(0, over)


def choose(gain, rng, sigma_db=SIGMA_DB):
    noisy = gain + rng.normal(0, sigma_db, LEVEL.size)
    return choose_curve(LEVEL, noisy, std=np.full(LEVEL.size, sigma_db))


@pytest.mark.parametrize(
    ("gain", "shape"),
    [
        (0 * LEVEL, Shape(False, ())),
        (3 - 0.4 * LEVEL, Shape(True, ())),
        (3 - 0.75 * knee(LEVEL + 24.3, 0.0), Shape(False, (1,))),
        (3 - 0.6 * knee(LEVEL + 30.0, 12.0), Shape(False, (1,))),
        (3 - 1.3 * knee(LEVEL + 24.0, 6.0), Shape(False, (1,))),
        (-0.5 * knee(LEVEL + 30.0, 4.0) - 0.4 * knee(LEVEL + 9.2, 1.0), Shape(False, (1, 1))),
        (-2.0 * knee(-48.0 - LEVEL, 3.0), Shape(False, (-1,))),
        (0.5 * knee(-40.0 - LEVEL, 5.0), Shape(False, (-1,))),
        (4.0 * (knee(-43.4 - LEVEL, 0.0) - knee(-40.0 - LEVEL, 3.0)), Shape(False, (-1, -1))),  # to a floor
        (-1.0 * knee(-47.0 - LEVEL, 3.0) - 0.6 * knee(LEVEL + 20, 5.0), Shape(False, (-1, 1))),
        (-0.3 * LEVEL - 0.5 * knee(LEVEL + 20.0, 5.0), Shape(True, (1,))),
    ],
)
def test_every_shape_is_told_by_its_points(gain, shape, rng):
    choice = choose(gain, rng)
    assert (choice.fit.shape.sloped, choice.fit.shape.facing) == (shape.sloped, shape.facing)
    assert choice.holds
    assert choice.misfit_db < SIGMA_DB


def test_noise_alone_makes_no_bend(rng):
    # odds of 150 to 1 and a change of 0.03 dB are asked of every bend: one in 100 would already be too many
    assert not any(choose(0 * LEVEL, rng, 0.02).fit.shape.facing for _ in range(100))


def test_a_plain_compressor_gets_no_second_bend(rng):
    gain = -0.7 * knee(LEVEL + 25.0, 8.0)
    assert all(len(choose(gain, rng).fit.shape.facing) == 1 for _ in range(20))


def test_a_curve_of_no_such_kind_is_said_not_to_hold(rng):
    assert not choose(np.sin(LEVEL / 2.5), rng).holds


def test_where_the_points_miss_the_curve_the_other_kind_of_knee_is_allowed_for(rng):
    """Steps of 3 dB, one of them in a knee of 4 dB, and a slope that still changes a little above it."""
    level = np.repeat(np.arange(-59.0, -1.0, 3.0), 2)
    rounded = 0.012 * np.exp(-np.maximum(level + 20, 0) / 8) * (level > -22)
    gain = 1 - 0.748 * knee(level + 23.0, 4.0) + rounded + rng.normal(0, 1e-4, level.size)
    fit = choose_curve(level, gain, std=np.full(level.size, 2e-4)).fit
    _, width, _ = fit.corner(0)
    assert abs(width - 4.0) < 1.96 * fit.covariance[2, 2] ** 0.5


@pytest.mark.parametrize(("begin", "facing"), [(-31.0, (1, 1)), (-50.0, (-1, -1))])
def test_a_gain_that_falls_from_one_flat_section_to_another_rests_where_it_stays_longer(begin, facing, rng):
    level = np.arange(-59.0, -1.0, 3.0)
    gain = 1.5 - 0.75 * (knee(level - begin, 4.0) - knee(level - begin - 9, 2.0))
    fit = choose_curve(level, gain + rng.normal(0, 1e-3, level.size), std=np.full(level.size, 1e-3)).fit
    assert fit.shape.facing == facing
    assert fit.parameters[0] == pytest.approx(1.5 if facing[0] > 0 else -5.25, abs=0.003)
