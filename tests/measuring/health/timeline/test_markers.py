import pytest
from judged_pairs import PATH_RATE_HZ, found_in

from charprobe.simulation.rig import faults


@pytest.mark.parametrize("gain_db", [-0.4, 0.4])
def test_a_step_after_the_last_tone_is_seen_in_the_markers_of_the_bypass(gain_db):
    def stepped(samples):
        return faults.step_gain(samples, at=samples.shape[0] - round(1.45 * PATH_RATE_HZ), gain_db=gain_db)

    told = [
        item.for_people().message
        for item in found_in("smooth-gain-soft", fault=stepped)
        if item.code == "level-drift"
    ]
    assert any("In the bypass" in text and "0.40 dB" in text for text in told)
