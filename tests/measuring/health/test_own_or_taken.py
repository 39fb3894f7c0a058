"""What a stage may do itself stops nothing where its bypass is free of it."""

import numpy as np
import pytest
from judged_pairs import found_in, named, profile_of

from charprobe.values.quantity import Quantity


def companded(samples):
    """A line that hisses behind a squeezer and ahead of a spreader: noise 50 dB below whatever sounds."""
    size = 480
    level = np.convolve(np.abs(samples[:, 0]), np.ones(size) / size, "same")[:, None]
    noise = np.random.default_rng(5).standard_normal(samples.shape)
    return samples + 10 ** (-50 / 20) * level * noise


@pytest.mark.parametrize(("fault", "code"), [(named("two-paths"), "two-paths"), (companded, "lossy-coded")])
def test_a_stop_that_a_stage_may_bring_is_a_question_beside_a_clean_bypass(fault, code):
    (alone,) = [item for item in found_in("odd-colour", fault=fault, on_both=False) if item.code == code]
    assert (alone.severity, alone.withholds) == ("warn", ())
    assert "the bypass through the same path is free of it" in alone.message
    both = [item for item in found_in("odd-colour", fault=fault) if item.code == code]
    assert {item.severity for item in both} == {"stop"}


def test_numbers_of_a_companded_stage_are_given_and_marked():
    profile = profile_of("odd-colour", fault=companded, on_both=False)
    assert isinstance(profile.quantities["static.makeup_gain"].reading, Quantity)
    assert "lossy-coded" in {item.code for item in profile.health if item.severity == "warn"}
