import pytest

from charprobe.stimulus.kinds.link import Link
from charprobe.stimulus.kinds.steady import Silence, Tones
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out

TONES = Tones("t", (997.0,), (-20.0,), 0.2, gap_s=0.5)
LINK = Link("l", 997.0, 3001.0, (-20.0,), -50.0, 0.2)


def test_everything_lies_as_far_apart_as_the_recipe_says():
    recipe = Recipe("x", "x", (TONES, Silence("s", 0.25, gap_s=0.0)), pre_roll_s=0.5, tail_s=0.75)
    stimulus = lay_out(recipe, rate_hz=48_000, take=7)
    tones, silence = stimulus.segments
    assert stimulus.opening.start == 24_000
    assert stimulus.opening.stop < stimulus.ident.start < stimulus.ident.stop < tones.span.start
    assert tones.span.length == 9_600
    assert silence.span.start == tones.span.stop + 24_000
    assert stimulus.closing.start == silence.span.stop == silence.span.start + 12_000
    assert stimulus.length == stimulus.closing.stop + 36_000
    assert stimulus.duration_s == pytest.approx(stimulus.length / 48_000)


def test_a_segment_that_drives_the_sides_apart_takes_a_second_channel():
    both = lay_out(Recipe("x", "x", (TONES, LINK)), rate_hz=48_000, take=1)
    assert (both.channels, both.alike) == (2, both.segments[:1])
    alone = lay_out(Recipe("x", "x", (TONES,)), rate_hz=48_000, take=1)
    assert (alone.channels, alone.alike) == (1, alone.segments)
