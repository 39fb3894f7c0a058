from dataclasses import FrozenInstanceError

import pytest

from charprobe.stimulus.kinds.registry import KINDS
from charprobe.stimulus.kinds.segment import Span, Spec, Tone
from charprobe.stimulus.kinds.steady import Silence


def test_spans_and_tones_end_before_their_first_sample_after():
    assert Span(100, 20).stop == 120
    assert Tone(100, 20, 1000.0, -10.0, 0.0, 0, 0).stop == 120


def test_a_kind_must_say_its_timetable_and_its_sound():
    with pytest.raises(TypeError, match="abstract"):
        Spec("anything")


def test_every_kind_places_what_it_renders():
    silence = Silence("rest", length_s=0.5)
    segment = silence.lay_out(start=1000, rate_hz=48_000)
    assert (segment.span, segment.tones) == (Span(1000, 24_000), ())
    assert segment.render(rate_hz=48_000).shape == (24_000,)
    assert not segment.render(rate_hz=48_000).any()
    with pytest.raises(FrozenInstanceError):
        silence.length_s = 1.0


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_answers_to_its_name_in_a_recipe_and_its_rising_fields_are_its_own(kind):
    assert KINDS[kind].kind == kind
    assert set(KINDS[kind].rising) <= set(KINDS[kind].__dataclass_fields__)
