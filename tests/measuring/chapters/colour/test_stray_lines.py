import numpy as np
import pytest
from cubic_device import TONES
from taken import NoReduction, column, take_of

from charprobe.measuring.chapters.colour.chapter import colour_chapter


def test_lines_that_are_no_harmonics_are_listed_with_their_cause(rng, bypass):
    def folding(samples):
        return samples + 0.1 * samples**5 + 1e-3 * np.cos(2 * np.pi * 7310 / 48_000 * np.arange(samples.size))

    chapter = colour_chapter(take_of(TONES, folding, rng=rng), bypass, NoReduction())
    tone, line, dbc, order = (
        column(chapter, "stray_lines", name)
        for name in ("frequency_hz", "line_hz", "level_dbc", "folded_order")
    )
    # 5 x 5003 Hz lies above half the rate and comes back at 22 985 Hz, at a 16th of 0.1 A**4
    folded = (tone == 5003) & (np.abs(line - 22_985) < 6)
    assert set(order[folded]) == {5}
    truth = 20 * np.log10(0.1 / 16) - 4 * 3
    # so near to half the rate the rig's interpolation leaves an image 0.9 Hz away, which beats with the line
    assert dbc[folded].max() == pytest.approx(truth, abs=1)
    spur = np.abs(line - 7310) < 6
    assert set(tone[spur]) == {110, 997, 5003} and set(order[spur]) == {None}
    off = (
        dbc[spur] + column(chapter, "stray_lines", "input_dbfs")[spur] + 60
    )  # -60 dBFS, over tones grown by the fifth
    std = column(chapter, "stray_lines", "level_std_db")[spur]
    grown = 20 * np.log10(1 + 0.0625 * 10 ** (column(chapter, "stray_lines", "input_dbfs")[spur] / 5))
    assert np.mean(np.abs(off + grown) < 1.96 * std) > 0.8
    assert any("is no harmonic" in sentence for sentence in chapter.findings)
