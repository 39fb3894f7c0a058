"""Takes: cutting a capture by the stimulus clock."""

from dataclasses import replace

import numpy as np
import pytest
from played import RATE_HZ, capture, recorded, short_stimulus, sound_at

from charprobe.placing.take import once, place_take
from charprobe.placing.track import Track

STIMULUS = short_stimulus()
DELAY, DRIFT_PPM = 777.7, 40.0


@pytest.fixture
def take():
    return place_take(Track(capture(recorded(STIMULUS, delay=DELAY, drift_ppm=DRIFT_PPM)), 0, STIMULUS))


def test_a_cut_knows_the_place_of_every_sample(take):
    tone = STIMULUS.segments[0].tones[3]
    cut = take.cut(tone.start + 100, tone.stop - 100)
    assert tone.start + 100 <= cut.position()[0] < tone.start + 101
    assert tone.stop - 101 <= cut.position()[-1] < tone.stop - 100
    assert cut.rate_hz == RATE_HZ
    # a place wrong by 1e-6 sample moves a 997 Hz tone by 1e-7 of itself
    np.testing.assert_allclose(cut.samples, sound_at(STIMULUS, cut.position()), rtol=0, atol=1e-6)


def test_segments_come_with_their_margin(take):
    segment = STIMULUS.segments[1]
    cut = take.segment(segment, margin_s=0.1)
    assert abs(cut.position()[0] - (segment.span.start - 4800)) <= 1
    assert abs(cut.position()[-1] - (segment.span.stop + 4800)) <= 1
    assert take.holds(segment)


def test_cuts_end_where_the_file_ends():
    frames = STIMULUS.segments[1].span.start + 20_000
    short = place_take(
        Track(capture(recorded(STIMULUS, delay=DELAY, drift_ppm=DRIFT_PPM, frames=frames)), 0, STIMULUS)
    )
    assert short.holds(STIMULUS.segments[0]) and not short.holds(STIMULUS.segments[1])
    cut = short.segment(STIMULUS.segments[1])
    assert 20_000 < cut.samples.size <= 20_000 + 2400  # and the margin of 50 ms in front
    np.testing.assert_allclose(cut.samples, sound_at(STIMULUS, cut.position()), rtol=0, atol=1e-3)
    assert short.cut(STIMULUS.closing.start, STIMULUS.closing.stop).samples.size == 0


def test_times_are_those_of_an_editor(take):
    truth_s = (DELAY + 96_000 * (1 + 1e-6 * DRIFT_PPM)) / RATE_HZ
    assert abs(take.capture_time_s(96_000) - truth_s) < 1e-9


def test_clipped_tones_leave_the_others_of_their_steps_unless_all_are_clipped(take):
    steps = STIMULUS.segments[0]
    assert steps.spec.kind == "level_steps"
    inside = [(tone.start + tone.length / 4, tone.stop - tone.length / 4) for tone in steps.tones]
    places = [tuple(map(float, map(take.alignment.capture_index, place))) for place in inside]
    some = replace(take, clipped=tuple(places[1:3]))
    assert some.intact(steps).tones == (steps.tones[0], *steps.tones[3:])
    assert some.holds(steps) and not some.spoils(steps)
    none_left = replace(take, clipped=tuple(places))
    assert none_left.spoils(steps) and not none_left.holds(steps)
    damaged = replace(take, damaged=tuple(places[1:3]))
    assert damaged.intact(steps).tones == some.intact(steps).tones
    assert damaged.spoils(steps)


def test_what_is_found_once_is_found_for_each_question_and_each_take(take):
    asked = []

    @once
    def place_of(take, segment, by=0.0):
        asked.append(segment)
        return take.capture_time_s(segment.span.start + by)

    first, second = STIMULUS.segments[:2]
    times = [place_of(take, segment) for segment in (first, second, first)]
    assert times[0] == times[2] == take.capture_time_s(first.span.start)
    assert asked == [first, second]
    place_of(take, first, by=1.0)
    place_of(replace(take, damaged=((0.0, 1.0),)), first)
    assert len(asked) == 4
