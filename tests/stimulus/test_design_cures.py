from designs import profile_with

from charprobe.stimulus.design import design_stimulus
from charprobe.values.quantity import Quantity, Unmeasured


def _both_ways(t90_s):
    none = Unmeasured(
        "dB", "no level had settled on the way up and on the way down", "any", cause="short-steps"
    )
    slow = Quantity.from_std(t90_s, 0.001, "s")
    return design_stimulus(profile_with(static__hysteresis=none, release__t90=slow), longest_s=300)


def test_steps_that_only_rise_promise_no_difference_between_the_passes():
    fast, slow = _both_ways(0.05), _both_ways(3.0)
    assert fast.gains
    assert "let the gain settle, for static.hysteresis" in " ".join(fast.reasons)
    said = " ".join(slow.reasons)
    assert "only rise" in said
    assert "let the gain settle, for static.hysteresis" not in said
