import numpy as np
import pytest

from charprobe.simulation.devices.catalogue import make_stage, stage_names
from charprobe.simulation.devices.stage import delay_samples, gain_truth


def test_what_a_stage_of_unknown_times_says_outright_is_its_gain_and_no_delay():
    truth = gain_truth(3.0)
    assert {name: (value.value, value.unit) for name, value in truth.items()} == {
        "static.makeup_gain": (3.0, "dB"),
        "static.low_level_gain": (3.0, "dB"),
        "path.latency": (0.0, "s"),
    }


@pytest.mark.parametrize("name", stage_names())
def test_the_delay_a_stage_tells_is_the_delay_it_has(name, rng):
    stage = make_stage(name)
    rate_hz = 48_000
    click = np.zeros(2000)
    click[1000] = 1e-3  # below every threshold
    peak = int(np.argmax(np.abs(stage.process(click, rate_hz=rate_hz, rng=rng).samples)))
    # a low corner rings for a few samples after its delay
    assert 0 <= peak - 1000 - delay_samples(stage, rate_hz=rate_hz) <= 3
