from dataclasses import replace

import pytest
from timed_chapters import chapter_of, level_steps, takes

from charprobe.estimators.static.curve_fit import fit_static_curve
from charprobe.measuring.chapters.timing.chapter import timing_chapter
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.values.quantity import Unmeasured


def test_memory_and_gaps_that_are_too_short_are_told():
    chapter = chapter_of("two-stage-release")
    assert "gap-too-short" in {item.code for item in chapter.health}
    assert isinstance(chapter.quantities["release.t90"].reading, Unmeasured)
    plain = chapter_of("smooth-gain-hard")
    memory = plain.quantities["release.memory"].reading
    assert memory.low <= 1.003
    assert memory.high >= 0.997
    assert not plain.health


@pytest.mark.parametrize(("rising_off_db", "told"), [(0.0, False), (-6.0, True)])
def test_a_gain_that_one_of_both_passes_shares_with_bursts_does_not_depend_on_frequency(rising_off_db, told):
    steps = level_steps(make_stage("smooth-gain-hard"))

    def lower(point, way, off_db):  # on its way down the stage holds on to what it has reduced
        loud = off_db if point.input_dbfs > -20 else 0.0
        return replace(point, output_dbfs=point.output_dbfs + loud, direction=way)

    rising = [lower(point, "rising", rising_off_db) for point in steps.points]
    falling = [lower(point, "falling", -6.0) for point in steps.points]
    chapter = timing_chapter(
        *takes("smooth-gain-hard"), fit_static_curve((*rising, *falling), axis_std_db=0.0)
    )
    assert any("depends on the frequency" in text for text in chapter.findings) is told
