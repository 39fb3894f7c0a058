import numpy as np
import pytest
from played import RATE_HZ, capture, recorded, short_stimulus

from charprobe.placing import segment_search
from charprobe.placing.segment_search import (
    BANDS,
    FLOOR_DBFS,
    GLANCE_HOPS,
    LEAD_HOPS,
    band_levels,
    hop_samples,
    matches,
    segment_glance,
    segment_levels,
)

STIMULUS = short_stimulus()
HOP = hop_samples(RATE_HZ)


def test_a_tone_shows_its_level_in_its_band_and_nothing_elsewhere():
    tone = 0.1 * np.sin(2 * np.pi * 1000 * np.arange(RATE_HZ) / RATE_HZ)
    levels = band_levels(capture(tone), 0, start=0, stop=tone.size, gain_db=-6.0)
    row = levels[levels.shape[0] // 2]
    assert row.max() + FLOOR_DBFS == pytest.approx(-20 + 6, abs=2.0)  # the window spreads it over some bins
    assert np.count_nonzero(row > row.max() - 40) <= 3


def test_what_lies_before_the_file_counts_as_silence():
    levels = band_levels(capture(np.ones(20 * HOP)), 0, start=-5 * HOP, stop=20 * HOP, gain_db=0.0)
    assert not levels[:5].any() and levels.shape[1] == BANDS


def test_every_segment_is_found_where_it_was_played_through_gain_and_noise(rng):
    source = capture(recorded(STIMULUS, delay=700.0, gain=0.25, noise=rng, noise_dbfs=-70.0))
    levels = band_levels(source, 0, start=0, stop=source.frames, gain_db=20 * np.log10(0.25))
    for segment in STIMULUS.alike:
        match = matches(segment_levels(segment, rate_hz=RATE_HZ), levels)
        best = (int(np.argmax(match)) + LEAD_HOPS) * HOP
        assert abs(best - 700 - segment.span.start) <= HOP
        assert match.max() > 0.9


def test_a_pattern_matches_itself_fully_and_its_negative_not_at_all(rng):
    levels = rng.uniform(0, 50, (200, BANDS))
    match = matches(levels[60:100], levels)
    assert int(np.argmax(match)) == 60
    assert match[60] == pytest.approx(1.0, abs=1e-9)
    assert matches(50 - levels[60:100], levels)[60] == pytest.approx(-1.0, abs=1e-9)
    assert matches(levels, levels[:50]).size == 0  # nowhere does the whole of it fit


@pytest.mark.parametrize("broken", [b"", b"short", b"\xff"])
def test_a_first_look_sees_every_tenth_row_whatever_became_of_what_was_kept(broken, monkeypatch):
    kept = {}
    monkeypatch.setattr(segment_search, "KEPT_FROM_S", 0.0)
    monkeypatch.setattr(segment_search, "keep_bytes", lambda name, data, **_: kept.setdefault(name, data))
    monkeypatch.setattr(segment_search, "kept_bytes", lambda name: broken * len(kept.get(name, b"x")))
    segment = STIMULUS.alike[0]
    rows = segment_levels(segment, rate_hz=RATE_HZ)[::GLANCE_HOPS]
    for _ in range(2):  # before and after it was kept
        segment_glance.cache_clear()
        np.testing.assert_array_equal(segment_glance(segment, rate_hz=RATE_HZ), rows)
    monkeypatch.setattr(segment_search, "kept_bytes", kept.__getitem__)
    segment_glance.cache_clear()
    np.testing.assert_array_equal(segment_glance(segment, rate_hz=RATE_HZ), rows)
