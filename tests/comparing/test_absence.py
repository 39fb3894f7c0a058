import dataclasses

import pytest
from compared import flat
from made_profiles import B, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.comparing.topics import judged_pair
from charprobe.profile.entry import Entry
from charprobe.values.quantity import Unmeasured

OPEN = Entry(Unmeasured("s", "the bursts are too short", "longer bursts"), "")


def verdict(first, second, name):
    return next(one for one in compare_profiles([first, second]).differences if one.name == name)


def test_an_attack_beside_none_is_no_open_question():
    found = verdict(flat("wire"), made_profile(B), "attack.t63")
    assert (found.verdict, found.text) == ("none", "none in wire (it reduces no gain)")
    assert found.alike == "different"


def test_two_without_attack_and_colour_have_none_and_say_below_which_limit():
    both = [flat("wire"), flat("other wire")]
    assert verdict(*both, "attack.t63").text == "both none (it reduces no gain)"
    colour = verdict(*both, "colour.thd_at_reference")
    assert (colour.verdict, colour.text) == ("both none", "both none (≤ −112.0 dBc)")
    assert verdict(*both, "release.t63").alike == "same"


def test_a_time_that_could_not_be_read_stays_an_open_question():
    profile = made_profile(B)
    unread = dataclasses.replace(
        profile, setting="unread", quantities={**profile.quantities, "attack.t63": OPEN}
    )
    assert (
        verdict(unread, made_profile(dataclasses.replace(B, name="read")), "attack.t63").verdict
        == "cannot tell"
    )


@pytest.mark.parametrize(("second", "wanted"), [("compressor", "different"), ("wire", "both none")])
def test_a_topic_has_one_verdict(second, wanted):
    other = made_profile(B) if second == "compressor" else flat("other wire")
    found = {one.name: one for one in compare_profiles([flat("wire"), other]).differences}
    said = {one.word: one.verdict for one in judged_pair(found)}
    assert said["attack"] == ("none" if second == "compressor" else "both none")
    assert said["colour"] == wanted


def test_a_bound_on_the_other_side_says_that_it_was_there_all_along():
    early = Entry(Unmeasured("dBFS", "colour at every level", "quieter tones", at_most=-40.0), "")
    both = []
    for name in ("one", "two"):
        profile = flat(name)
        both.append(dataclasses.replace(profile, quantities={**profile.quantities, "colour.onset": early}))
    assert verdict(*both, "colour.onset").verdict == "cannot tell"
