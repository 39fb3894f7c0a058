"""Groups are lost with the last segment that speaks to them."""

from types import SimpleNamespace

from a_little_of_all import RECIPE

from charprobe.measuring.health.groups import groups_of, lost_groups
from charprobe.stimulus.render import lay_out

STIMULUS = lay_out(RECIPE, rate_hz=48_000, take=1)
SEGMENTS = {segment.spec.name: segment for segment in STIMULUS.segments}


def take_without(*names):
    return SimpleNamespace(stimulus=STIMULUS, holds=lambda segment: segment.spec.name not in names)


def test_each_kind_speaks_to_its_groups():
    assert groups_of([SEGMENTS["steps"], SEGMENTS["reference"], SEGMENTS["steps"]]) == (
        "static",
        "attack",
        "release",
    )


def test_what_another_segment_still_tells_is_not_lost():
    assert lost_groups(take_without(), [SEGMENTS["steps"]]) == ("static",)
    kinds = {name: segment.spec.kind for name, segment in SEGMENTS.items()}
    assert kinds["tones"] != kinds["idle"]
    assert "noise" in lost_groups(take_without("tones"), [SEGMENTS["idle"]])
    assert lost_groups(take_without(), []) == ()
