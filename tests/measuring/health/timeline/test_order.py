import pytest
from judged_captures import RATE, STAGES, clean_once, judged

from charprobe.simulation.rig import faults


@pytest.mark.parametrize("stage", STAGES)
def test_exchanged_stretches_are_placed(stage):
    capture = clean_once(stage)
    count = capture.shape[0] // 8
    samples = faults.swap_stretches(capture, first=2 * count, second=6 * count, count=count)
    later, earlier = (item for item in judged(samples)[1] if item.code == "reordered")
    assert 2 * count / RATE - 0.5 < later.start_s < 3 * count / RATE < earlier.start_s
    assert "sounds what belongs later" in later.message
    assert "sounds what belongs earlier" in earlier.message
