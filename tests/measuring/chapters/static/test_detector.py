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
    assert found.low <= stage.truth["detector.low_cut"].value <= found.high
    assert found.high / found.low < 1.1  # the corner within 10 %
    _, chapter, _ = measured("smooth-gain-hard", rng, segments=segments)
    assert reading(chapter, "detector.low_cut").at_most < 40
