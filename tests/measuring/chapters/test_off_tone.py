"""A settled tone denies the response of a sweep whose gain was another; filters, combs too, are denied by none."""

import numpy as np
import pytest
from taken import NoReduction, column, take_of, wire

from charprobe.measuring.chapters.response import response_chapter
from charprobe.stimulus.kinds.steady import Tones
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out

SEGMENTS = (
    Sweep("response", 10, 22_000, 3.0, -40.0, gap_s=0.3),
    Tones("harmonics", frequencies_hz=(997.0, 5003.0), levels_dbfs=(-40.0,), tone_s=0.2),
)


def swept_lower(samples):
    """Comes through 0.3 dB lower as long as the sweep lasts."""
    (_, tones) = lay_out(Recipe("made", "made", SEGMENTS), rate_hz=48_000, take=3).segments
    return samples * np.where(np.arange(samples.size) < tones.tones[0].start, 10 ** (-0.3 / 20), 1.0)


def tones_lowered(samples, begin_db, end_db):
    """Tones come through so much lower when they begin, and so much when they end."""
    (_, tones) = lay_out(Recipe("made", "made", SEGMENTS), rate_hz=48_000, take=3).segments
    low_db = np.zeros(samples.size)
    for tone in tones.tones:
        inside = slice(round(tone.start), round(tone.stop))
        low_db[inside] = np.linspace(begin_db, end_db, low_db[inside].size)
    return samples * 10 ** (-low_db / 20)


def leaving(samples):
    """Tones come through ever lower, 1 dB by their end: a detector that hears them otherwise than the sweep."""
    return tones_lowered(samples, 0.0, 1.0)


def arriving(samples):
    """Tones begin 1 dB lower and come to the gain of the sweep."""
    return tones_lowered(samples, 1.0, 0.1)


def comb(samples):
    """A late copy beside the sound: 6 dB deep, a tooth each 3 kHz."""
    return samples + np.concatenate([np.zeros(16), samples])[: samples.size] / 3


@pytest.mark.parametrize(("device", "denied"), [(wire, False), (comb, False), (swept_lower, True)])
@pytest.mark.parametrize("with_bypass", [True, False])
def test_points_are_known_no_better_than_a_settled_tone_lets_them(rng, device, denied, with_bypass):
    wet = take_of(SEGMENTS, device, rng=rng)
    dry = take_of(SEGMENTS, wire, rng=rng) if with_bypass else None
    chapter = response_chapter(wet, dry, NoReduction())
    assert [item.code for item in chapter.health] == ["unsettled"] * denied
    std = column(chapter, "response", "magnitude_std_db").astype(float)
    if denied:
        assert "+0.00 dB, the sweep −0.30 dB" in chapter.health[0].message
        off = column(chapter, "response", "magnitude_db").astype(float)
        assert np.all(np.abs(off) < 2 * std + 0.01)
    else:
        assert np.median(std) < 0.01


@pytest.mark.parametrize(("device", "denied"), [(leaving, True), (arriving, False)])
def test_a_tone_that_still_moves_denies_the_sweep_only_where_it_moves_away(rng, device, denied):
    chapter = response_chapter(take_of(SEGMENTS, device, rng=rng), None, NoReduction())
    assert [item.code for item in chapter.health] == ["unsettled"] * denied


def test_where_tones_from_silence_still_move_the_sweeps_start_is_left_out(rng):
    segments = lay_out(Recipe("made", "made", SEGMENTS), rate_hz=48_000, take=3).segments

    def recovering(samples):
        """Each sound begins 2 dB lower and comes back with 0.08 s."""
        n, low_db = np.arange(samples.size), np.zeros(samples.size)
        for begin in (segments[0].span.start, *(tone.start for tone in segments[1].tones)):
            low_db = np.where(n >= begin, 2.0 * np.exp(-(n - begin) / (0.08 * 48_000)), low_db)
        return samples * 10 ** (-low_db / 20)

    told = {}
    for device in (wire, recovering):
        chapter = response_chapter(take_of(SEGMENTS, device, rng=rng), None, NoReduction())
        hz, level = (column(chapter, "response", name) for name in ("frequency_hz", "magnitude_db"))
        told[device] = hz[0]
        np.testing.assert_allclose(level, 0.0, atol=0.02)  # the goal; 20 Hz itself comes 0.06 dB lower
    assert told[wire] == 20 and 40 < told[recovering] < 60
