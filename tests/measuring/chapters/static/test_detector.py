from dataclasses import replace

import pytest
from static_chapters import STEPS, measured
from taken import reading

from charprobe.stimulus.kinds.equal_peak import EqualPeak
from charprobe.stimulus.kinds.level_steps import LevelSteps


@pytest.mark.parametrize(
    ("name", "word"), [("feedforward-average-soft", "average"), ("feedforward-rms-hard", "RMS")]
)
def test_the_detectors_law_is_told_from_waveforms_of_equal_peak(name, word, rng):
    segments = [replace(STEPS[0], falling=False), EqualPeak("law", 800.0, (-52.0, -12.0, -4.0), 0.4)]
    stage, chapter, _ = measured(name, rng, segments=segments)
    found = reading(chapter, "detector.exponent")
    # ripple at the repetition of the waveforms, 10 ms against averaging over 20 to 30 ms, moves it by a few %
    assert found.value == pytest.approx(stage.truth["detector.exponent"].value, rel=0.05)
    assert f"Its detector reacts to the {word} level." in chapter.findings


def test_waveforms_too_short_to_tell_their_partials_give_a_reason(rng):
    segments = [replace(STEPS[0], falling=False), EqualPeak("law", 800.0, (-52.0, -12.0), 0.05)]
    _, chapter, _ = measured("smooth-gain-hard", rng, segments=segments)
    assert "raise its duration" in reading(chapter, "detector.exponent").reason


def test_a_filtered_side_chain_shows_its_corner(rng):
    low = LevelSteps("low", 83.0, -49.0, -1.0, 3.0, 0.4, False)
    segments = [replace(STEPS[0], falling=False), low]
    stage, chapter, _ = measured("deaf-to-bass", rng, segments=segments)
    found = reading(chapter, "detector.low_cut")
    true_hz = stage.truth["detector.low_cut"].value  # of the first order
    assert found.value == pytest.approx(true_hz, rel=0.03)
    steeper_hz = 83.0 * (true_hz / 83.0) ** 0.5  # where one of the second order lets through as much at 83 Hz
    assert found.low == pytest.approx(steeper_hz, rel=0.05) and found.high < 1.05 * true_hz
    _, chapter, _ = measured("smooth-gain-hard", rng, segments=segments)
    assert reading(chapter, "detector.low_cut").at_most < 50  # of the second order
