import numpy as np
import pytest
from cubic_device import TONES, thd_db
from taken import NoReduction, column, reading, take_of, wire

from charprobe.measuring.chapters.colour.chapter import colour_chapter
from charprobe.values.quantity import Unmeasured


def test_level_of_given_distortion_is_interpolated_between_rungs(coloured):
    levels = np.linspace(-40, -1, 4000)
    truth = levels[np.argmax(thd_db(levels) >= -60)]
    found = reading(coloured, "colour.input_at_thd_minus60db")
    assert found.value == pytest.approx(truth, abs=0.25)  # rungs lie 6 to 8 dB apart
    assert found.low <= truth <= found.high
    never = reading(coloured, "colour.input_at_thd_minus40db")
    assert isinstance(never, Unmeasured) and never.at_least == pytest.approx(-3, abs=0.01)


def test_onset_stands_on_the_rung_where_the_excess_begins(coloured):
    # an order is detected 4 sigma over the floor, near -118 dBc at -10 dBFS and so -78 dBc at -50 dBFS;
    # H2 is -104 dBc at -50 dBFS and -84 dBc, over -98 dBc, at -30 dBFS
    onset = reading(coloured, "colour.onset")
    assert (onset.low, onset.value) == pytest.approx((-50, -30), abs=0.02)
    laws = {order: i for i, order in enumerate(column(coloured, "harmonic_growth", "order"))}
    for order in (2, 3):
        # a power of that order alone grows by it; 3 sigma are 1.53 times the 95 % reach
        slope, high = (
            column(coloured, "harmonic_growth", name)[laws[order]] for name in ("slope", "slope_high")
        )
        assert abs(slope - order) < 1.53 * (high - slope) < 0.3


def test_a_late_onset_is_bracketed(rng, bypass):
    def kinked(samples):
        return samples - 0.02 * np.sign(samples) * np.maximum(np.abs(samples) - 10 ** (-12 / 20), 0)

    chapter = colour_chapter(take_of(TONES, kinked, rng=rng), bypass, NoReduction())
    onset = reading(chapter, "colour.onset")
    # clean below -12 dBFS; rungs at -16 and -10
    assert (onset.low, onset.value, onset.high) == pytest.approx((-16, -10, -10), abs=0.02)


def test_what_stays_below_a_small_share_is_not_said_to_stay_below_a_larger_one(rng, bypass, coloured):
    clean = colour_chapter(take_of(TONES, wire, rng=rng), bypass, NoReduction())
    told = [sentence for sentence in clean.findings if "stays below" in sentence]
    assert len(told) == 1 and "below 0.1 %" in told[0]
    assert any("stays below 1 %" in sentence for sentence in coloured.findings)  # it reaches 0.1 %


def test_distortion_that_louder_tones_leave_behind_is_no_limit_for_peaks(rng, bypass):
    def gap(samples):  # 0.2 % of a tone at -30 dBFS, a hundredth of that at -3 dBFS
        return samples + 2e-4 * np.sign(samples) * (np.abs(samples) > 0.02)

    told = colour_chapter(take_of(TONES, gap, rng=rng), bypass, NoReduction()).findings
    assert not [line for line in told if line.startswith("Keep steady peaks")]
    (line,) = [line for line in told if line.startswith("Distortion rises above 0.1 % from −")]
    assert line.endswith(" Hz and falls below it again.")
