"""The slope through the origin of pairs in closed form."""

import math

import numpy as np
import pytest

from charprobe.estimators.link import link_of, measure_link
from charprobe.stimulus.kinds.link import Link
from charprobe.values.cut import Cut
from charprobe.values.quantity import Quantity

RATE_HZ = 48_000


def pairs(link, errors_db, std=0.01):
    reductions = [3.0, 6.0, 12.0]
    return [
        (Quantity.from_std(r, std, "dB"), Quantity.from_std(link * r + e, std, "dB"))
        for r, e in zip(reductions, errors_db, strict=True)
    ]


def test_a_plain_link_has_its_slope_and_the_uncertainty_of_its_pairs():
    found = link_of(pairs(0.35, [0, 0, 0]))
    assert found.value == pytest.approx(0.35)
    whole = (3**2 + 6**2 + 12**2) / (2 * 0.01**2)
    assert found.std == pytest.approx(1 / math.sqrt(whole), rel=1e-3)


def test_pairs_off_the_line_widen_it():
    misfit = [0.1, -0.1, 0.0]
    value = 0.35 + (3 * 0.1 - 6 * 0.1) / 189
    found = link_of(pairs(0.35, misfit))
    assert found.value == pytest.approx(value)
    chi2 = sum((e - (value - 0.35) * r) ** 2 for e, r in zip(misfit, (3, 6, 12), strict=True)) / (2 * 0.01**2)
    plain = link_of(pairs(0.35, [0, 0, 0])).std
    assert found.std == pytest.approx(plain * math.sqrt(chi2 / 2), rel=1e-3)


def test_a_pilot_still_on_its_way_is_as_uncertain_as_what_it_may_still_do():
    segment = Link(
        name="sides",
        drive_hz=997,
        pilot_hz=3001,
        levels_dbfs=(-20.0, -4.0),
        pilot_dbfs=-50.0,
        tone_s=1.0,
        kind="link",
    ).lay_out(start=0, rate_hz=RATE_HZ)
    sound = 1e-7 * np.random.default_rng(4).normal(size=segment.span.length)
    own, pilots = segment.spec.side_tones(segment.span, 1, rate_hz=RATE_HZ)
    for tone, moves_db in [*((tone, 0.0) for tone in own), *((tone, 12.0) for tone in pilots)]:
        seconds = np.arange(tone.length) / RATE_HZ
        level_db = tone.level_dbfs - moves_db * (1 - np.exp(-seconds / 0.4))
        part = slice(tone.start, tone.start + tone.length)
        sound[part] += 10 ** (level_db / 20) * np.sin(2 * np.pi * tone.frequency_hz * seconds)
    found = measure_link(segment, Cut(sound, 0.0, 1.0, RATE_HZ))
    assert found.side == 1
    for level in found.levels:
        assert level.own.value == pytest.approx(level.drive_dbfs, abs=1e-3) and level.own.std < 1e-3
        assert level.pilot.low < -62.0 < level.pilot.high
        assert level.pilot.std < 2.0


def test_tones_too_short_to_part_are_read_as_wholes():
    segment = Link(
        name="sides",
        drive_hz=50,
        pilot_hz=120,
        levels_dbfs=(-4.0,),
        pilot_dbfs=-30.0,
        tone_s=0.16,
        kind="link",
    ).lay_out(start=0, rate_hz=RATE_HZ)
    sound = 1e-6 * np.random.default_rng(5).normal(size=segment.span.length)
    own, pilots = segment.spec.side_tones(segment.span, 1, rate_hz=RATE_HZ)
    for tone in (*own, *pilots):
        seconds = np.arange(tone.length) / RATE_HZ
        wave = 10 ** (tone.level_dbfs / 20) * np.sin(2 * np.pi * tone.frequency_hz * seconds)
        sound[tone.start : tone.start + tone.length] += wave
    (level,) = measure_link(segment, Cut(sound, 0.0, 1.0, RATE_HZ)).levels
    assert level.pilot.value == pytest.approx(-30.0, abs=0.01)
