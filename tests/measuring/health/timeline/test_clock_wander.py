import pytest
from judged_captures import RATE, clean_once, told

from charprobe.simulation.rig import faults


@pytest.mark.parametrize("depth_ppm", [3.0, 300.0])
def test_a_wandering_clock_is_told_with_its_size(depth_ppm):
    samples = faults.wow(clean_once("plain-wire"), depth_ppm=depth_ppm, frequency_hz=0.7, rate_hz=RATE)
    message = told(samples)["clock-drift"]
    size = float(message.split(" ppm")[0].split()[-1])
    assert 0.5 * depth_ppm < size < 1.2 * depth_ppm  # a sine spends most of its time near its ends
