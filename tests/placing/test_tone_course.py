"""Stretches of tones as captured, against tones whose level, phase and rest are known in closed form."""

from dataclasses import replace

import numpy as np
import pytest
from taken import RATE_HZ, take_of, wire

from charprobe.placing.tone_course import course_of, tone_runs
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.values.quantity import DB_PER_NEPER

SEGMENTS = (
    LevelSteps("steps", 997.0, -40.0, -4.0, 12.0, 0.2, False, gap_s=0.3),
    LevelSteps("low", 31.7, -40.0, -4.0, 12.0, 0.5, False, gap_s=0.3),
    Bursts("bursts", 3989.0, 2, -40.0, -6.0, 0.1, 0.15, 0.3),
)
NOISE_DBFS = -90.0


def fitted(device=wire, *, rng, noise_dbfs=NOISE_DBFS):
    take = take_of(SEGMENTS, device, rng=rng, noise_dbfs=noise_dbfs)
    for segment in take.stimulus.segments:
        for tone in segment.tones:
            course = course_of(take, tone)
            yield take, tone, course, course.halves(tone.start, tone.stop)


def test_every_tone_of_a_wire_has_its_level_and_turns_with_the_clock(rng):
    for _, tone, _, (early, late) in fitted(rng=rng):
        for half in (early, late):
            off_db = DB_PER_NEPER * np.log(abs(half.wave)) - tone.level_dbfs
            assert abs(off_db) < 5 * half.level_std_db
        std_rad = np.hypot(early.level_std_db, late.level_std_db) / DB_PER_NEPER
        assert abs(np.angle(late.wave / early.wave)) < 5 * std_rad + 1e-4  # the clock is known to 0.02 ppm


def test_what_is_left_is_the_noise(rng):
    noise = 10 ** (NOISE_DBFS / 20) / np.sqrt(2)  # a full-scale sine is 0 dBFS
    for _, _, _, halves in fitted(rng=rng):
        for half in halves:
            assert half.rest == pytest.approx(noise, rel=5 / np.sqrt(2 * half.samples))


def test_an_offset_beside_the_tone_does_not_count(rng):
    for _, tone, _, (early, _) in fitted(lambda samples: samples + 0.01, rng=rng):
        assert abs(DB_PER_NEPER * np.log(abs(early.wave)) - tone.level_dbfs) < 5 * early.level_std_db


def test_stretches_lie_within_what_is_asked_for(rng):
    for take, tone, course, _ in fitted(rng=rng):
        begin, end = tone.start + 0.4 * tone.length, tone.stop - 0.01 * RATE_HZ
        stretch, block = course.fit(begin, end), np.diff(course.run.edges).max()
        room = (end - begin) / take.alignment.step
        assert room - 2 * block < stretch.samples <= room
        assert course.fit(begin, begin + block / 2) is None


def test_sound_that_is_not_finite_leaves_no_level(rng):
    take = take_of(SEGMENTS, wire, rng=rng)
    tone = take.stimulus.segments[0].tones[2]
    take.source.samples[round(take.alignment.capture_index(tone.start + tone.length / 2))] = np.nan
    assert not np.isfinite(course_of(take, tone).fit(tone.start, tone.stop).level_std_db)
    other = take.stimulus.segments[0].tones[3]
    assert np.isfinite(course_of(take, other).fit(other.start, other.stop).level_std_db)


def test_tones_beyond_the_file_have_no_course(rng):
    take = take_of(SEGMENTS, wire, rng=rng)
    last = take.stimulus.segments[-1].tones[-1]
    cut = take.alignment.capture_index(last.start + last.length / 2)
    take.source.facts = replace(take.source.facts, frames=int(cut))
    assert course_of(take, last) is None
    assert (
        sum(len(run.tones) for run in tone_runs(take))
        == sum(len(s.tones) for s in take.stimulus.segments) - 1
    )
