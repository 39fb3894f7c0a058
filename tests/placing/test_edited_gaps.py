"""Where gaps were cut or stretched: the segments say it, one by one."""

import numpy as np
import pytest
from played import RATE_HZ, capture, short_stimulus

from charprobe.placing.align import locate
from charprobe.placing.track import Track
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.render import render

STIMULUS = short_stimulus()
RECORDER = Rig(delay_samples=50.5, drift_ppm=20.0, noise_dbfs=-110.0)


@pytest.mark.parametrize("cuts_s", [(-0.2,), (-0.12, -0.1), (0.5, -0.15, 0.07)])
def test_edited_gaps_are_found_one_by_one(cuts_s, rng):
    samples = RECORDER.record(render(STIMULUS), rate_hz=RATE_HZ, rng=rng)[:, 0]
    expected = []
    for segment, cut_s in reversed(list(zip(STIMULUS.segments, cuts_s, strict=False))):
        at, change = segment.span.stop + 3000, round(cut_s * RATE_HZ)
        silence = rng.normal(0, 1e-6, max(0, change))
        samples = np.concatenate([samples[:at], silence, samples[at - min(0, change) :]])
        expected.insert(0, (segment.span.stop, change))
    found = locate(Track(capture(samples), 0, STIMULUS))
    assert [jump.start for jump in found.jumps] == [stop for stop, _ in expected]
    for jump, (_, change) in zip(found.jumps, expected, strict=True):
        assert abs(jump.samples.value - change) < 60  # a period of the tone that follows, 48 samples at most
    assert abs(found.drift_ppm.value - 20) < 0.2
    assert abs(found.delay_samples.value - 50.5) < 0.01
