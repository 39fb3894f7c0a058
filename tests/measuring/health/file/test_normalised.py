import numpy as np
import pytest
from judged_captures import clean_once, told
from judged_pairs import codes, named, profile_of

from charprobe.simulation.rig import faults
from charprobe.values.quantity import Quantity


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("peak_dbfs", [-0.1, -1.0, -3.0])
def test_a_round_peak_is_told_at_every_word_length(bits, peak_dbfs, rng):
    samples = faults.normalise(clean_once("plain-wire"), peak_dbfs=peak_dbfs)
    step = 2.0 ** (1 - bits)
    dither = (rng.random(samples.shape) - rng.random(samples.shape)) * step
    written = np.round((samples + dither) / step) * step
    assert f"Peaks at exactly −{-peak_dbfs:.1f} dBFS" in told(written)["normalised"]
    assert "normalised" not in told(0.99 * written)


def test_normalised_exports_are_told_where_the_gains_differ():
    fault = named("normalised")
    louder = profile_of("smooth-gain-soft", fault=fault)
    assert codes(louder.health) == {"normalised"}
    assert not isinstance(louder.quantities["static.makeup_gain"].reading, Quantity)
    assert isinstance(louder.quantities["static.slope"].reading, Quantity)
    equal = profile_of("plain-wire", fault=fault)  # equal takes have equal peaks, but a round one
    assert all("Peaks at exactly −0.1 dBFS" in i.message for i in equal.health if i.code == "normalised")
    assert isinstance(equal.quantities["static.low_level_gain"].reading, Quantity)
