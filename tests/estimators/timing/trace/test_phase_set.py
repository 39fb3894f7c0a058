import pytest
from burst_device import exponential, play, recipe

from charprobe.estimators.timing.trace.phase_set import NoCarrierError, bursts_of
from charprobe.estimators.timing.trace.trace_edges import trace_edges
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.cut import Cut
from charprobe.values.errors import SegmentTooShortError

ATTACK_S, RELEASE_S, DEPTH_DB = 0.001, 0.1, 12.0


DEVICE = exponential(attack_s=ATTACK_S, release_s=RELEASE_S, depth_db=DEPTH_DB, hold_s=0.4)


def test_tones_that_are_no_burst_are_refused():
    tones = [Tone(0, 100, 1000.0, level, 0.0, 0, 0) for level in (-20.0, -40.0, -20.0)]
    with pytest.raises(ValueError, match="low, high, low"):
        bursts_of(tones)


@pytest.mark.parametrize("sigma", [0.0, 0.1])
def test_silence_and_noise_are_refused_with_a_way_on(sigma, rng):
    bursts, wet, dry = play(recipe(phases=2), DEVICE, rate_hz=48_000, rng=rng)
    nothing = Cut(rng.normal(0, sigma, wet.samples.size), wet.start, wet.step, wet.rate_hz)
    with pytest.raises(NoCarrierError, match="check the path"):
        trace_edges(nothing, bursts=bursts, bypass=dry)


def test_a_cut_that_ends_early_is_refused(rng):
    bursts, wet, dry = play(recipe(), DEVICE, rate_hz=48_000, rng=rng)
    with pytest.raises(SegmentTooShortError, match="segment lasts"):
        trace_edges(Cut(wet.samples[:-20_000], wet.start, wet.step, wet.rate_hz), bursts=bursts, bypass=dry)
