"""How often 95 % intervals must hold the truth, so that chance alone seldom fails a test."""

import math


def expected_inside(draws):
    """Three standard deviations of a binomial below 95 %: more than so many of `draws` intervals hold the truth."""
    return 0.95 * draws - 3 * math.sqrt(0.95 * 0.05 * draws)
