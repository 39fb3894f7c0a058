import numpy as np
import pytest
from static_chapters import PATH_DB, STEPS, measured
from taken import reading, take_of, wire

from charprobe.measuring.chapters.static.chapter import static_chapter
from charprobe.simulation.rig.faults import second_path
from charprobe.values.quantity import Unmeasured


def test_without_a_bypass_the_axis_is_the_stimulus_and_make_up_is_withheld(rng):
    stage, chapter, _ = measured("smooth-gain-hard", rng, bypass=False)
    assert isinstance(reading(chapter, "static.makeup_gain"), Unmeasured)
    entry = chapter.quantities["static.threshold"]
    assert "no bypass" in entry.conditions
    assert entry.reading.value == pytest.approx(stage.truth["static.threshold"].value, abs=0.05)


@pytest.mark.parametrize("delay", [-192, 40, 100, 145])
def test_make_up_holds_what_a_copy_moves_that_is_too_weak_to_be_told(delay, rng):
    def doubled(samples):
        return second_path(samples[:, None], delay=delay, gain_db=-60.0)[:, 0]

    dry = take_of(STEPS, wire, rng=rng, gain_db=PATH_DB)
    chapter, _ = static_chapter(take_of(STEPS, doubled, rng=rng, gain_db=PATH_DB), dry)
    makeup = reading(chapter, "static.makeup_gain")
    shift_db = 20 * np.log10(abs(1 + 1e-3 * np.exp(-2j * np.pi * 997 * delay / 48_000)))
    assert makeup.value == pytest.approx(shift_db, abs=0.0015)  # the copy's own, which is not the stage's
    assert makeup.low <= 0 <= makeup.high
    assert makeup.high - makeup.low < 0.04
