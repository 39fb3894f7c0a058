import numpy as np
import pytest
from cubic_device import A2, A3, PAIRS, cubic
from taken import NoReduction, column, reading, take_of, wire

from charprobe.measuring.chapters.colour.chapter import colour_chapter


def test_intermodulation_is_read_quiet_and_loud_beside_the_bypass(rng):
    dry = take_of(PAIRS, wire, rng=rng)
    chapter = colour_chapter(take_of(PAIRS, cubic, rng=rng), dry, NoReduction())
    peak = 10 ** (-10 / 20)
    # second order over the high tone is 2 A2 low; the close pair's A2 a / 2; A3 adds its own order and
    # takes 0.2 % off the tones
    d2, d3 = 2 * A2 * 0.8 * peak, 1.5 * A3 * (0.8 * peak) ** 2
    assert reading(chapter, "colour.imd_smpte").value == pytest.approx(
        20 * np.log10(np.hypot(d2, d3)), abs=0.1
    )
    d2, d3 = A2 * peak / 4, 0.75 * A3 * peak**2 / 4
    found = reading(chapter, "colour.imd_difference")
    assert found.value == pytest.approx(20 * np.log10(np.hypot(d2, d3)), abs=0.1)
    assert list(column(chapter, "intermodulation", "peak_dbfs")) == [-30, -10, -30, -10]
    assert sum("Intermodulation is" in sentence for sentence in chapter.findings) == 2
    assert "tones" in reading(chapter, "colour.onset").reason


def test_recipe_without_pairs_names_one_that_has_them(coloured):
    for name in ("colour.imd_smpte", "colour.imd_difference"):
        missing = reading(coloured, name)
        assert "no two_tone segment" in missing.reason and "colour" in missing.next
