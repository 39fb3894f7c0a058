"""Where samples were lost, in a rendered stimulus with a sweep."""

import numpy as np
import pytest
from played import RATE_HZ, capture, recorded, short_stimulus

from charprobe.placing.align import locate
from charprobe.placing.track import Track
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render

STIMULUS = lay_out(load_recipe("quick"), rate_hz=RATE_HZ, take=0)
SWEEP = next(s for s in STIMULUS.segments if s.spec.kind == "sweep")
SOUND = render(STIMULUS)
SHORT = short_stimulus()


@pytest.mark.parametrize("lost", [1, 96, 300])
@pytest.mark.parametrize("share", [0.6, 0.8])
@pytest.mark.parametrize("device", [lambda x: x, lambda x: -np.tanh(3 * x)])
def test_a_jump_inside_a_sweep_is_placed_to_a_tenth_of_a_second(lost, share, device, rng):
    at = round(SWEEP.span.start + share * SWEEP.span.length)
    samples = device(SOUND) + rng.normal(0, 2.2e-6, SOUND.size)
    (jump,) = locate(Track(capture(np.concatenate([samples[:at], samples[at + lost :]])), 0, STIMULUS)).jumps
    assert abs(jump.samples.value + lost) < 0.1
    # windows of 30 ms every 50 ms, and one that holds the jump itself may fit either side
    assert jump.start - 0.06 * RATE_HZ <= at <= jump.stop + 0.06 * RATE_HZ
    assert jump.stop - jump.start <= 0.11 * RATE_HZ


@pytest.mark.parametrize("lost", [-97, -3, 1, 240])
def test_lost_and_inserted_samples_are_told_from_drift(lost, rng):
    clean = recorded(SHORT, delay=50.5, drift_ppm=33.0, noise=rng)
    tone = SHORT.segments[1].tones[2]
    at = round(50.5 + (tone.start - 1000) * (1 + 33e-6))
    samples = np.concatenate([clean[:at], clean[at - lost :]])
    found = locate(Track(capture(samples), 0, SHORT))
    (jump,) = found.jumps
    assert abs(jump.samples.value - lost) < 0.1  # well below one sample, the least that can be lost
    assert jump.samples.low - 0.05 <= lost <= jump.samples.high + 0.05
    assert abs(found.drift_ppm.value - 33) < 0.05
    assert jump.start <= tone.start <= jump.stop <= jump.start + 0.5 * RATE_HZ  # between tones of 0.3 s
    late = SHORT.segments[2].span.start
    truth = 50.5 + late * (1 + 33e-6) + lost
    assert abs(found.capture_index(float(late)) - truth) < 0.1
