import pytest
from static_chapters import measured
from taken import reading

from charprobe.values.quantity import Unmeasured


def test_without_a_bypass_the_axis_is_the_stimulus_and_make_up_is_withheld(rng):
    stage, chapter, _ = measured("smooth-gain-hard", rng, bypass=False)
    assert isinstance(reading(chapter, "static.makeup_gain"), Unmeasured)
    entry = chapter.quantities["static.threshold"]
    assert "no bypass" in entry.conditions
    assert entry.reading.value == pytest.approx(stage.truth["static.threshold"].value, abs=0.05)
