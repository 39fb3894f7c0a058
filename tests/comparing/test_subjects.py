import dataclasses

import pytest
from made_profiles import B, D, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.comparing.subjects import Subject, of_one_thing, subjects_of, value_of
from charprobe.profile.entry import Entry
from charprobe.values.errors import ProfileError
from charprobe.values.quantity import Unmeasured


def test_the_same_recording_twice_is_refused():
    with pytest.raises(ProfileError, match=r"profiles 1 and 3 are of the same recording"):
        compare_profiles([made_profile(B), made_profile(D), made_profile(B)])
    with pytest.raises(ProfileError, match="at least two"):
        compare_profiles([made_profile(B)])


def test_times_of_another_burst_are_not_averaged_but_those_of_the_same_are():
    first, second = made_profile(B), made_profile(dataclasses.replace(B, attack_s=1.2 * B.attack_s))
    assert value_of("attack.t63", Subject("s", (first, second))).value == pytest.approx(
        1.1 * B.attack_s, rel=0.02
    )
    timing = second.curves["timing"]
    other = dataclasses.replace(timing, columns=timing.columns | {"from_dbfs": [-50.0]})
    second = dataclasses.replace(second, curves={**second.curves, "timing": other})
    surest = first.quantities["attack.t63"].reading  # its uncertainty is a share of its smaller value
    assert value_of("attack.t63", Subject("s", (first, second))) == surest


def test_names_that_are_alike_once_cut_are_numbered():
    long = [made_profile(dataclasses.replace(B, name="x" * 80 + end)) for end in "ab"]
    cut = "x" * 59 + "…"
    labels = [subject.label for subject in subjects_of([*long, made_profile(D)])]
    assert labels == [f"{cut} (1)", f"{cut} (2)", D.name]


def test_a_quantity_read_off_another_tone_or_burst_is_not_set_against_it():
    first, second = made_profile(B), made_profile(D)
    entry = second.quantities["colour.thd_at_reference"]

    def at(tone):
        told = dataclasses.replace(entry, conditions=f"{tone}, no gain reduction")
        return dataclasses.replace(second, quantities={"colour.thd_at_reference": told})

    none = dataclasses.replace(entry, conditions="no gain reduction at any level of the tones")
    none = dataclasses.replace(second, quantities={"colour.thd_at_reference": none})
    low, near, same = at("110 Hz at −10.0 dBFS"), at("1000 Hz at −9.8 dBFS"), at("997 Hz at −10.0 dBFS")
    assert not of_one_thing("colour.thd_at_reference", (low, same))
    assert of_one_thing("colour.thd_at_reference", (near, same))
    assert not of_one_thing("colour.thd_at_reference", (none, same))
    timing = second.curves["timing"]
    other = dataclasses.replace(timing, columns=timing.columns | {"to_dbfs": [-12.0]})
    second = dataclasses.replace(second, curves={**second.curves, "timing": other})
    found = {item.name: item for item in compare_profiles([first, second]).differences}
    assert found["attack.t63"].verdict == "cannot tell"
    assert "other bursts" in found["attack.t63"].reason
    far = Entry(Unmeasured("s", "too quick", "none needed", at_most=1e-6), "")
    second = dataclasses.replace(second, quantities={**second.quantities, "attack.t63": far})
    found = {item.name: item for item in compare_profiles([first, second]).differences}
    assert found["attack.t63"].verdict == "cannot tell"  # nor a bound of one against a number of the other


def test_reductions_up_to_unlike_levels_are_not_set_against_each_other():
    first, second = made_profile(B), made_profile(D)
    static = second.curves["static"]
    shifted = [level - 0.75 for level in static.columns["input_dbfs"]]
    other = dataclasses.replace(static, columns=static.columns | {"input_dbfs": shifted})
    lower = dataclasses.replace(second, curves={**second.curves, "static": other})
    assert of_one_thing("static.max_reduction", (first, second))
    assert not of_one_thing("static.max_reduction", (first, lower))
