"""Colour of devices with closed forms: a wire, polynomials, and a compressor that only ripples."""

import numpy as np
import pytest
from cubic_device import TONES, Squarer, cubic, ratios, thd_db
from scipy.signal import butter, lfilter
from taken import NoReduction, column, reading, take_of, wire

from charprobe.measuring.chapters.colour.chapter import colour_chapter
from charprobe.stimulus.kinds.steady import Tones
from charprobe.values.quantity import Quantity, Unmeasured


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


def test_wire_has_no_colour(rng, bypass):
    chapter = colour_chapter(take_of(TONES, wire, rng=rng), bypass, NoReduction())
    onset = reading(chapter, "colour.onset")
    assert isinstance(onset, Unmeasured) and "show no colour" in onset.reason
    assert isinstance(reading(chapter, "colour.thd_at_reference"), Unmeasured)
    assert reading(chapter, "colour.ripple_share") == Quantity(0.0, 0.0, 0.0, "%")
    assert any("No colour found" in sentence for sentence in chapter.findings)


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


def test_a_gain_that_moves_by_itself_is_not_asked_for_longer_tones(rng, bypass):
    def wobbling(samples):
        return samples * 10 ** (2 * np.sin(2 * np.pi * 0.8 * np.arange(samples.size) / 48_000) / 20)

    chapter = colour_chapter(take_of(TONES, wobbling, rng=rng), bypass, NoReduction())
    onset = reading(chapter, "colour.onset")
    assert "moves up and down by itself" in onset.reason and onset.cause is None
    (told,) = (item for item in chapter.health if item.code == "unsettled")
    assert "longer tones would not settle" in told.message


def test_a_gain_that_follows_the_level_slowly_is_asked_for_longer_tones(rng, bypass):
    def riding(samples):  # a tenth of the level, with 0.8 s
        keep = np.exp(-1 / np.array([0.02, 0.8]) / 48_000)
        square = lfilter([1 - keep[0]], [1, -keep[0]], 2 * samples**2)
        wanted = -0.1 * np.maximum(10 * np.log10(square + 1e-9) + 60, 0)
        return samples * 10 ** (lfilter([1 - keep[1]], [1, -keep[1]], wanted) / 20)

    chapter = colour_chapter(take_of(TONES, riding, rng=rng), bypass, NoReduction())
    told = next(item for item in chapter.health if item.code == "unsettled")
    assert "longer tones would not settle" not in told.message
    assert "longer tones" in told.message


@pytest.mark.parametrize("hears_hz", [300.0, None])
def test_a_stage_that_hears_low_tones_alone_compresses_and_does_not_colour_them(rng, bypass, hears_hz):
    def ducked(samples):
        heard = samples
        if hears_hz is not None:
            heard = lfilter(*butter(4, hears_hz, fs=48_000), samples)
        keep = np.exp(-1 / 0.02 / 48_000)
        power = lfilter([1 - keep], [1, -keep], heard**2)
        return samples / np.sqrt(1 + (power / 4e-3) ** 4)

    chapter = colour_chapter(take_of(TONES, ducked, rng=rng), bypass, NoReduction())
    unlike = [text for text in chapter.findings if "depends on the frequency" in text]
    assert bool(unlike) == (hears_hz is not None)
    assert not any("Colour shows" in text for text in chapter.findings)


def test_a_compressor_without_a_known_curve_is_not_coloured_from_its_knee_on(rng, bypass):
    def compressed(
        samples,
    ):  # quick enough that ripple makes as much of a third harmonic as the knee takes off
        keep = np.exp(-1 / 0.001 / 48_000)
        power = lfilter([1 - keep], [1, -keep], samples**2)
        return samples / (1 + power / 0.05) ** 0.4

    chapter = colour_chapter(take_of(TONES, compressed, rng=rng), bypass, None)
    assert not any("Colour shows" in text for text in chapter.findings)
