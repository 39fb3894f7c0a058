import dataclasses

import pytest
from made_profiles import B, made_profile

from charprobe.comparing.curves import CURVES
from charprobe.comparing.subjects import Subject
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
