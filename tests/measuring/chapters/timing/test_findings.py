from timed_chapters import chapter_of

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
