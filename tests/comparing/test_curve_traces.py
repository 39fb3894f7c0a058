import dataclasses

import pytest
from compared import pair
from made_profiles import B, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.profile.entry import Table


@pytest.mark.parametrize(
    ("changes", "attack", "release"),
    [
        ({"makeup_db": 5.0}, "same", "same"),
        ({"attack_s": B.attack_s * 1.02}, "same", "same"),
        ({"attack_s": B.attack_s * 1.5}, "different", "same"),
        ({"slow_share": 0.2}, "same", "different"),
    ],
)
def test_gain_traces_are_compared_as_a_whole_less_the_gain_at_rest(changes, attack, release):
    found = {d.name: d for d in pair(B, dataclasses.replace(B, name="other", **changes)).differences}
    assert (found["attack trace"].verdict, found["release trace"].verdict) == (attack, release)
    if "attack_s" in changes and attack == "different":
        # two exponentials part most at tau ln(k) k / (k - 1)
        k, depth = 1.5, 10.5
        apart = depth * ((1 / k) ** (1 / (k - 1)) - (1 / k) ** (k / (k - 1)))
        assert found["attack trace"].gap.value == pytest.approx(apart, abs=0.02)


def test_gain_traces_of_other_bursts_are_not_compared():
    one, other = made_profile(B), made_profile(dataclasses.replace(B, name="other"))
    timing = other.curves["timing"]
    moved = Table({**timing.columns, "carrier_hz": [997.0]}, timing.units)
    other = dataclasses.replace(other, curves={**other.curves, "timing": moved})
    item = next(d for d in compare_profiles([one, other]).differences if d.name == "attack trace")
    assert (item.verdict, item.gap) == ("cannot tell", None)
    assert "conditions" in item.reason
