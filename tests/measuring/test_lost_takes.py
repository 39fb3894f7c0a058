import pytest
from judged_pairs import judged_path, recorded

from charprobe.measuring.verdict import Verdict
from charprobe.simulation.rig import faults

RATE_HZ = 48_000


@pytest.mark.parametrize("lost", [True, False])
def test_a_take_that_lost_what_it_was_played_for_is_to_be_retaken(lost):
    samples = recorded("smooth-gain-soft", 37.4)
    take, health = judged_path(faults.cut_end(samples, count=round((6 if lost else 1) * RATE_HZ)), "cut")
    verdict = Verdict(take, health)
    assert verdict.retake == lost and bool(verdict.lost) == lost
    assert ("attack" in verdict.lost) == lost
    assert ("that is what the recipe was played for" in verdict.text()) == lost
