from types import SimpleNamespace

import pytest
from timed_chapters import STEADY, chapter_of, takes

from charprobe.measuring.chapters.timing.chapter import _hold, timing_chapter
from charprobe.values.quantity import Quantity, Unmeasured


def test_hold_look_ahead_and_kind():
    held = chapter_of("held-release").quantities
    # the detector lags by up to 0.15 ms, which the stage states beside its truth
    assert held["release.hold"].reading.value == pytest.approx(0.04, abs=3e-4)
    assert held["release.stages"].reading.value == 1
    ahead = chapter_of("lookahead-limiter").quantities
    assert ahead["attack.lookahead"].reading.value == pytest.approx(0.0015, abs=1.5e-4)
    straight = chapter_of("feedforward-rms-hard")
    # a mean square falls by 4.343/tau dB/s, and half of that at a ratio of 2
    assert straight.quantities["release.rate"].reading.value == pytest.approx(4.343 / 0.03 / 2, rel=0.01)
    assert any("straight line" in sentence for sentence in straight.findings)


def test_a_dead_time_below_a_hundredth_of_a_release_that_is_not_over_is_the_laws_own():
    start, trace = Quantity(0.004, 0.0039, 0.0041, "s"), SimpleNamespace(resolution_s=1e-4)
    unfinished = SimpleNamespace(start=start, t63=Unmeasured("s", "not over", "longer gaps", at_least=0.6))
    found = _hold(unfinished, None, trace)
    assert isinstance(found, Unmeasured) and found.at_most == pytest.approx(0.006)
    fast = SimpleNamespace(start=start, t63=Quantity(0.05, 0.049, 0.051, "s"))
    assert _hold(fast, None, trace) is start


def test_without_a_bypass_the_times_stay_and_the_conditions_say_so():
    wet, _ = takes("smooth-gain-hard")
    entry = timing_chapter(wet, None, None).quantities["attack.t63"]
    assert "no bypass" in entry.conditions
    assert entry.reading.value == pytest.approx(0.00506, rel=0.02)


def test_a_recipe_without_bursts_leaves_every_name_unmeasured_with_a_way_on():
    wet, dry = takes("plain-wire", segments=STEADY)
    chapter = timing_chapter(wet, dry, None)
    for entry in chapter.quantities.values():
        assert isinstance(entry.reading, Unmeasured)
        assert "quick" in entry.reading.next or "standard" in entry.reading.next
    assert not chapter.curves
