import tracemalloc
from itertools import pairwise

import numpy as np
import pytest

from charprobe.stimulus.kinds.link import Link
from charprobe.stimulus.kinds.steady import Tones
from charprobe.stimulus.recipe import Recipe, load_recipe, parse_recipe, shipped_recipes
from charprobe.stimulus.render import lay_out, render, render_between, render_pieces, render_sides
from charprobe.stimulus.write import write_stimulus
from charprobe.values.errors import RecipeError


@pytest.mark.parametrize("name", shipped_recipes())
@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_shipped_recipes_stay_below_their_peak_and_inside_their_timetable(name, rate_hz):
    recipe = load_recipe(name)
    stimulus = lay_out(recipe, rate_hz=rate_hz, take=1)
    samples = render(stimulus)
    assert samples.shape == (stimulus.length,)
    assert np.abs(samples).max() <= 10 ** (recipe.peak_dbfs / 20) * (1 + 1e-12)
    spans = [stimulus.opening, stimulus.ident, *(s.span for s in stimulus.segments), stimulus.closing]
    assert all(a.stop <= b.start for a, b in pairwise(spans))
    assert not samples[: round(0.25 * rate_hz)].any()  # the quiet pre-roll
    limits = {"quick": 30, "standard": 170, "full": 360}
    assert stimulus.duration_s <= limits.get(name, 360)


def test_rendering_is_the_same_at_every_call():
    stimulus = lay_out(load_recipe("quick"), rate_hz=44_100, take=3)
    assert render(stimulus).tobytes() == render(stimulus).tobytes()


def test_a_long_stimulus_is_written_in_little_memory(tmp_path):
    silences = "".join(f'[[segment]]\nkind = "silence"\nname = "s{i}"\nlength_s = 60\n' for i in range(8))
    head = 'schema = "charprobe.recipe/1"\nname = "long"\nsummary = "eight minutes"\n'
    recipe = parse_recipe(head + silences, source="x")
    tracemalloc.start()
    try:
        write_stimulus(recipe, tmp_path / "long.wav", rate_hz=44_100)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 100e6  # the whole takes 175 MB, a block of 2**20 samples and its codes 40 MB


def test_pieces_are_the_whole_sound_and_between_them_is_silence():
    stimulus = lay_out(load_recipe("link"), rate_hz=44_100, take=3)
    sides = render_sides(stimulus)
    assert sides.shape == (stimulus.length, 2)
    for side in (1, 2):
        rest = sides[:, side - 1].copy()
        for start, samples in render_pieces(stimulus, side=side):
            np.testing.assert_array_equal(rest[start : start + samples.size], samples)
            rest[start : start + samples.size] = 0.0
        assert not rest.any()


def test_a_part_is_rendered_as_the_whole_is():
    stimulus = lay_out(load_recipe("quick"), rate_hz=44_100, take=1)
    whole, first = render(stimulus), stimulus.segments[2].span.start
    for start, stop in (
        (first - 700, first + 9001),
        (-50, 3000),
        (stimulus.length - 10, stimulus.length + 10),
    ):
        inside = whole[max(0, start) : stop]
        part = render_between(stimulus, start, stop)
        np.testing.assert_array_equal(part[max(0, -start) :][: inside.size], inside)
        assert part.size == stop - start and np.count_nonzero(part) == np.count_nonzero(inside)


def test_sides_differ_only_where_a_segment_drives_them_apart():
    tones = Tones("t", (997.0,), (-20.0,), 0.2)
    link = Link("l", 997.0, 3001.0, (-20.0,), -50.0, 0.2)
    stimulus = lay_out(Recipe("x", "x", (tones, link)), rate_hz=44_100, take=3)
    first, second = render_sides(stimulus).T
    span = stimulus.segments[1].span
    apart = slice(span.start, span.stop)
    assert not np.array_equal(first[apart], second[apart])
    first[apart] = second[apart] = 0.0
    np.testing.assert_array_equal(first, second)
    assert render_sides(lay_out(Recipe("x", "x", (tones,)), rate_hz=44_100, take=3)).shape[1] == 1


def test_a_stimulus_of_hours_is_refused_before_anything_is_rendered():
    silences = "".join(f'[[segment]]\nkind = "silence"\nname = "s{i}"\nlength_s = 60.0\n' for i in range(31))
    text = f'schema = "charprobe.recipe/1"\nname = "long"\nsummary = "Nothing."\n{silences}'
    with pytest.raises(RecipeError, match=r"`s29` ends after .*at most 1800 s"):
        lay_out(parse_recipe(text, source="long.toml"), rate_hz=48_000, take=1)
