"""Noise that rises with the signal, and noise that does not; truth is what was added."""

import numpy as np
import pytest
from taken import reading, take_of, wire

from charprobe.measuring.chapters.colour.chapter import colour_chapter
from charprobe.stimulus.kinds.steady import Tones
from charprobe.values.quantity import Quantity, Unmeasured

TONES = [Tones("tones", (997.0,), (-50.0, -30.0, -10.0), 0.8)]
AUDIBLE = 19_980 / 24_000  # share of white noise that lies between 20 Hz and 20 kHz


def chapter_of(rng, change, *, bypass=True, noise_dbfs=-100.0):
    wet, dry = (take_of(TONES, device, rng=rng, noise_dbfs=noise_dbfs) for device in (change, wire))
    return colour_chapter(wet, dry if bypass else None, None)


def readings(chapter):
    return reading(chapter, "noise.under_signal"), reading(chapter, "noise.rise_under_signal")


def test_noise_that_goes_with_the_signal_is_measured(rng):
    def breathing(sound):
        return sound * (1 + 1e-4 * rng.normal(size=sound.size))

    chapter = chapter_of(rng, breathing)
    own, rise = readings(chapter)
    # the tone's rms times 1e-4, a full-scale sine being 0 dBFS
    truth = -10 - 80 + 10 * np.log10(AUDIBLE)
    assert own.value == pytest.approx(truth, abs=0.3)
    assert rise.value > 8
    assert any("rises by" in sentence for sentence in chapter.findings)
    table = chapter.curves["noise_under_signal"].columns
    assert len(table["input_dbfs"]) == 3
    assert np.all(np.diff(table["noise_dbfs"]) > 0)


def test_steady_noise_does_not_rise(rng):
    def hissing(sound):
        return sound + 1e-5 * rng.normal(size=sound.size)

    chapter = chapter_of(rng, hissing, noise_dbfs=-110.0)
    own, rise = readings(chapter)
    truth = 10 * np.log10(2e-10 * AUDIBLE)
    assert own.low - 0.2 <= truth <= own.high + 0.2
    assert rise.low < 0.2
    assert rise.high > -0.2
    assert not any("rises by" in sentence for sentence in chapter.findings)


def test_noise_of_the_recorder_is_not_given_to_the_stage(rng):
    own, rise = readings(chapter_of(rng, wire))
    assert isinstance(own, Unmeasured)
    assert "recording path" in own.reason
    assert own.at_most == pytest.approx(-100, abs=1.0)
    assert isinstance(rise, Quantity)
    lone, _ = readings(chapter_of(rng, wire, bypass=False))
    assert "no bypass" in lone.reason
