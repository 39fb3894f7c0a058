import dataclasses

import pytest
from made_profiles import B, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.comparing.curves import CURVES, MARGINS
from charprobe.comparing.subjects import Subject
from charprobe.profile import glossary
from charprobe.profile.glossary import SERVES


@pytest.mark.parametrize("name", CURVES)
def test_a_row_is_drawn_from_a_profile_and_names_a_segment_that_gives_it(name):
    kind = CURVES[name]
    curve = kind.drawn(Subject("B", (made_profile(B),)))
    assert (curve.place[1:] > curve.place[:-1]).all()
    assert kind.segment in SERVES
    assert kind.title.lower() == name
    assert kind.definition.endswith(".")


@pytest.mark.parametrize("name", CURVES)
def test_a_profile_without_tables_gives_no_curve(name):
    empty = dataclasses.replace(made_profile(B), curves={})
    assert CURVES[name].drawn(Subject("B", (empty,))) is None


def test_every_margin_is_of_a_known_quantity_and_has_a_reason():
    for name, margin in MARGINS.items():
        assert name in glossary.TERMS or name in CURVES
        assert len(margin.reason) > 15
        assert margin.size > (1 if margin.scale == "ratio" else 0)


def test_a_curve_has_the_margin_it_is_given():
    profiles = [
        made_profile(B),
        made_profile(dataclasses.replace(B, name="other", attack_s=B.attack_s * 1.5)),
    ]
    wide = dataclasses.replace(MARGINS["attack trace"], size=3.0)
    for margins, verdict in ((MARGINS, "different"), ({**MARGINS, "attack trace": wide}, "same")):
        found = compare_profiles(profiles, margins=margins).differences
        assert next(d for d in found if d.name == "attack trace").verdict == verdict
    assert set(CURVES) <= set(MARGINS)
