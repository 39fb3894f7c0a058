import pytest
from rippling_stages import TRUTH, profile_of

from charprobe.values.quantity import Quantity


@pytest.mark.parametrize("name", TRUTH)
def test_the_share_of_ripple_is_what_the_stage_is_made_of(name):
    profile = profile_of(name)
    share = profile.quantities["colour.ripple_share"].reading
    assert isinstance(share, Quantity)
    assert share.low <= TRUTH[name] <= share.high
    assert share.value == pytest.approx(TRUTH[name], abs=10)  # of the harmonic; each is trusted to 3 %
    explained = any("Ripple of the gain explains" in sentence for sentence in profile.findings)
    onset = profile.quantities["colour.onset"].reading
    if TRUTH[name] == 100.0:
        assert explained
        assert not isinstance(onset, Quantity), f"{name} has no colour"
    else:
        assert not explained, f"{name} has no ripple"
