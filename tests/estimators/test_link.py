"""The slope through the origin of pairs in closed form."""

import math

import pytest

from charprobe.estimators.link import link_of
from charprobe.values.quantity import Quantity


def pairs(link, errors_db, std=0.01):
    reductions = [3.0, 6.0, 12.0]
    return [
        (Quantity.from_std(r, std, "dB"), Quantity.from_std(link * r + e, std, "dB"))
        for r, e in zip(reductions, errors_db, strict=True)
    ]


def test_a_plain_link_has_its_slope_and_the_uncertainty_of_its_pairs():
    found = link_of(pairs(0.35, [0, 0, 0]))
    assert found.value == pytest.approx(0.35)
    whole = (3**2 + 6**2 + 12**2) / (2 * 0.01**2)
    assert found.std == pytest.approx(1 / math.sqrt(whole), rel=1e-3)


def test_pairs_off_the_line_widen_it():
    misfit = [0.1, -0.1, 0.0]
    value = 0.35 + (3 * 0.1 - 6 * 0.1) / 189
    found = link_of(pairs(0.35, misfit))
    assert found.value == pytest.approx(value)
    chi2 = sum((e - (value - 0.35) * r) ** 2 for e, r in zip(misfit, (3, 6, 12), strict=True)) / (2 * 0.01**2)
    plain = link_of(pairs(0.35, [0, 0, 0])).std
    assert found.std == pytest.approx(plain * math.sqrt(chi2 / 2), rel=1e-3)
