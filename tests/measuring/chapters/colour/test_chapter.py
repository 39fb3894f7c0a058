"""Colour of devices with closed forms: a wire, polynomials, and a compressor that only ripples."""

import numpy as np
import pytest
from scipy.signal import lfilter
from taken import NoReduction, column, reading, take_of, wire

from charprobe.measuring.chapters.colour.chapter import colour_chapter
from charprobe.stimulus.kinds.steady import Silence, Tones
from charprobe.stimulus.kinds.two_tone import TwoTone
from charprobe.values.quantity import Quantity, Unmeasured

LEVELS = (-50.0, -30.0, -22.0, -16.0, -10.0, -6.0, -3.0)
TONES = [Tones("harmonics", (110.0, 997.0, 5003.0), LEVELS, 0.25, gap_s=0.3)]
A2, A3 = 0.004, -0.03


def cubic(samples):
    return samples + A2 * samples**2 + A3 * samples**3


def ratios(level_dbfs):
    """H2 and H3 of the cubic over its fundamental: multiple-angle formulas."""
    a = 10 ** (np.asarray(level_dbfs) / 20)
    fundamental = a + 0.75 * A3 * a**3
    return A2 * a**2 / 2 / fundamental, A3 * a**3 / 4 / fundamental


def thd_db(level_dbfs):
    return 10 * np.log10(sum(ratio**2 for ratio in ratios(level_dbfs)))


@pytest.fixture
def bypass(rng):
    return take_of(TONES, wire, rng=rng, delay_samples=100.3)


@pytest.fixture
def coloured(rng, bypass):
    return colour_chapter(take_of(TONES, cubic, rng=rng), bypass, NoReduction())


def test_harmonics_at_the_reference_equal_the_closed_form(coloured):
    entry = coloured.quantities["colour.h2_at_reference"]
    assert "997 Hz at −10.0 dBFS, no gain reduction" in entry.conditions
    h2, h3 = ratios(-10.0)
    for order, truth in ((2, h2), (3, h3)):
        level = reading(coloured, f"colour.h{order}_at_reference")
        assert level.value == pytest.approx(
            20 * np.log10(abs(truth)), abs=0.1
        )  # the goal; 40 dB over the floor
        assert level.low - 0.02 < 20 * np.log10(abs(truth)) < level.high + 0.02
    assert reading(coloured, "colour.thd_at_reference").value == pytest.approx(thd_db(-10.0), abs=0.05)
    balance = reading(coloured, "colour.even_odd_balance")
    assert balance.value == pytest.approx(20 * np.log10(abs(h2 / h3)), abs=0.1)
    assert isinstance(reading(coloured, "colour.h9_at_reference"), Unmeasured)


def test_phases_tell_the_signs_of_the_polynomial(coloured):
    at = column(coloured, "harmonics", "frequency_hz") == 997.0
    at &= np.abs(column(coloured, "harmonics", "input_dbfs") + 6) < 0.1
    row = int(np.flatnonzero(at)[0])
    assert column(coloured, "harmonics", "h2_deg")[row] == pytest.approx(0, abs=1)
    assert abs(column(coloured, "harmonics", "h3_deg")[row]) == pytest.approx(180, abs=1)


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


def test_wire_has_no_colour(rng, bypass):
    chapter = colour_chapter(take_of(TONES, wire, rng=rng), bypass, NoReduction())
    onset = reading(chapter, "colour.onset")
    assert isinstance(onset, Unmeasured) and "show no colour" in onset.reason
    assert isinstance(reading(chapter, "colour.thd_at_reference"), Unmeasured)
    assert reading(chapter, "colour.ripple_share") == Quantity(0.0, 0.0, 0.0, "%")
    assert any("No colour found" in sentence for sentence in chapter.findings)


class Squarer:
    """A 2:1 compressor on the mean square, in closed form for a steady tone: gain ripples at twice its frequency.

    ``g = (1 + m cos(2 u + psi))`` with the one-pole's complex size, so H3 over H1 is ``m / 2`` to first order.
    """

    def __init__(self, tau_s):
        self.tau_s = tau_s

    def reduction_db_at(self, input_dbfs):
        return 3.0

    def __call__(self, samples):
        power = samples**2
        pole = np.exp(-1 / (48_000 * self.tau_s))
        mean = lfilter([1 - pole], [1, -pole], power)
        return samples * (mean + 1e-7) ** -0.25 * 0.3  # slope 1/2


def test_ripple_of_a_clean_compressor_is_not_taken_for_colour(rng, bypass):
    device = Squarer(0.02)
    chapter = colour_chapter(take_of(TONES, device, rng=rng), bypass, device)
    h3 = reading(chapter, "colour.h3_at_reference").value
    expected = 20 * np.log10(
        0.5 / 4 / np.hypot(1, 4 * np.pi * 997 * 0.02)
    )  # slope 1/2: S / (4 sqrt(1 + x**2))
    assert h3 == pytest.approx(expected, abs=0.1)
    share = reading(chapter, "colour.ripple_share")
    assert share.high == 100 and share.value > 90
    onset = reading(chapter, "colour.onset")
    assert isinstance(onset, Unmeasured) and "show no colour" in onset.reason


def test_ripple_is_told_from_the_fall_of_the_gain_where_no_static_curve_is_known(rng, bypass):
    chapter = colour_chapter(take_of(TONES, Squarer(0.02), rng=rng), bypass, None)
    assert isinstance(reading(chapter, "colour.onset"), Unmeasured)
    assert reading(chapter, "colour.ripple_share").value > 90
    sentences = " ".join(chapter.findings)
    assert "Harmonics under gain reduction are gain ripple" in sentences and "Colour shows" not in sentences
    # a saturator takes as much off the fundamental as its harmonics tell: no gain reduction
    shaped = colour_chapter(take_of(TONES, lambda x: np.tanh(3 * x) / 3, rng=rng), bypass, None)
    assert isinstance(reading(shaped, "colour.onset"), (Quantity, Unmeasured))
    assert reading(shaped, "colour.ripple_share") == Quantity(0.0, 0.0, 0.0, "%")
    assert "Colour shows" in " ".join(shaped.findings)


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
    assert dbc[folded].max() == pytest.approx(truth, abs=2)  # half a bin off a Hann window reads 1.4 dB low
    spur = np.abs(line - 7310) < 6
    assert set(tone[spur]) == {110, 997, 5003} and set(order[spur]) == {None}
    assert any("is no harmonic" in sentence for sentence in chapter.findings)


def test_colour_under_reduction_is_seen_beside_ripple(rng, bypass):
    device = Squarer(0.05)
    chapter = colour_chapter(take_of(TONES, lambda x: device(cubic(x)), rng=rng), bypass, device)
    assert isinstance(reading(chapter, "colour.onset"), (Quantity, Unmeasured))
    share = reading(chapter, "colour.ripple_share")
    h3 = ratios(-10.0)[1]
    ripple = 0.5 / 4 / (1 + 4j * np.pi * 997 * 0.05) * np.exp(1j * np.pi)  # gain falls as the square rises
    truth = 100 * (ripple * np.conj(ripple + h3)).real / abs(ripple + h3) ** 2
    assert share.low <= truth <= share.high
    assert share.value == pytest.approx(truth, abs=10)


def test_harmonics_of_the_rig_are_marked_and_not_subtracted(rng):
    dirty = take_of(TONES, lambda x: x + 0.004 * x**2, rng=rng)
    chapter = colour_chapter(take_of(TONES, lambda x: x + 0.005 * x**2, rng=rng), dirty, NoReduction())
    marks = column(chapter, "harmonics", "near_bypass")
    assert all("h2" in mark for mark in marks[column(chapter, "harmonics", "input_dbfs") > -20])
    level = reading(chapter, "colour.h2_at_reference")
    assert level.value == pytest.approx(20 * np.log10(0.005 * 10 ** (-10 / 20) / 2), abs=0.05)
    assert "within 6 dB of the bypass" in chapter.quantities["colour.h2_at_reference"].conditions
    assert isinstance(reading(chapter, "colour.input_at_thd_minus60db"), Unmeasured)


def test_without_bypass_or_reduction_the_reasons_are_named(rng):
    chapter = colour_chapter(take_of(TONES, cubic, rng=rng), None, None)
    assert "bypass" in reading(chapter, "colour.onset").reason
    assert reading(chapter, "colour.ripple_share") == Quantity(
        0.0, 0.0, 0.0, "%"
    )  # the tones' own gains tell
    lone = colour_chapter(
        take_of([Tones("one", (997.0,), (-10.0,), 0.2, gap_s=0.3)], cubic, rng=rng), None, None
    )
    assert "gain reduction" in reading(lone, "colour.ripple_share").reason
    assert isinstance(reading(chapter, "colour.h2_at_reference"), Quantity)


def test_recipe_without_tones_names_one_that_has_them(rng):
    chapter = colour_chapter(take_of([Silence("idle", 0.5)], wire, rng=rng), None, None)
    for name, entry in chapter.quantities.items():
        assert name.startswith(("colour.", "noise.")) and isinstance(entry.reading, Unmeasured)
        pair = "imd" in name
        assert ("two_tone" if pair else "tones") in entry.reading.reason
        assert ("colour" if pair else "quick") in entry.reading.next


PAIRS = [
    TwoTone("low-and-high", 61.0, 7001.0, 4.0, (-30.0, -10.0), 0.4),
    TwoTone("close-pair", 9001.0, 10_007.0, 1.0, (-30.0, -10.0), 0.4),
]


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


def test_the_transfer_curve_of_the_cubic_is_the_cubic(coloured):
    x, y = (column(coloured, "transfer", name) for name in ("input", "output"))
    # the third harmonic is read to 0.01 dB in the rig's noise of -110 dBFS: 1e-5 of full scale
    np.testing.assert_allclose(y, cubic(x), atol=2e-5)
    assert any("One transfer curve explains" in sentence for sentence in coloured.findings)
