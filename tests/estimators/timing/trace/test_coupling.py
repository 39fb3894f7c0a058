import numpy as np
import pytest
from burst_device import exponential, play, recipe
from scipy import signal

from charprobe.estimators.timing.trace.coupling import find_coupling, undo_coupling
from charprobe.estimators.timing.trace.trace_edges import trace_edges
from charprobe.values.cut import Cut

RATE_HZ = 96_000
DEVICE = exponential(attack_s=0.001, release_s=0.1, depth_db=12.0, hold_s=0.4)


def coupled(cut, *corners_hz, offset=0.0):
    """What a recorder behind first-order AC couplings stores of a cut, and an offset of its own."""
    samples = cut.samples
    for corner_hz in corners_hz:
        samples = signal.lfilter(*signal.butter(1, corner_hz, btype="highpass", fs=cut.rate_hz), samples)
    return Cut(samples + offset, cut.start, cut.step, cut.rate_hz)


@pytest.mark.parametrize("offset", [0.0, 0.003])
@pytest.mark.parametrize("carrier_hz", [997.0, 3989.0])
def test_a_single_coupling_is_found_and_undone(carrier_hz, offset, rng):
    bursts, wet, _ = play(
        recipe(carrier_hz=carrier_hz, phases=5), DEVICE, rate_hz=RATE_HZ, rng=rng, noise_dbfs=-130
    )
    recorded = coupled(wet, 7.0, offset=offset)
    corner = find_coupling(recorded, bursts)
    assert corner == pytest.approx(2 * np.pi * 7.0, rel=0.01)
    back = undo_coupling(recorded, bursts, corner_rad_per_s=corner)
    for burst in bursts[1:]:
        for edge in (burst.hold.start, burst.release.start):
            beside = slice(*(round((edge + by - wet.start) / wet.step) for by in (10, 1_500)))
            thump = np.ptp(recorded.samples[beside] - wet.samples[beside])
            # a hundredth of a corner left, and the offset's own trend through it
            assert np.ptp(back.samples[beside] - wet.samples[beside]) < 0.02 * thump + 1e-6


def test_several_couplings_count_together(rng):
    bursts, wet, _ = play(recipe(carrier_hz=997.0), DEVICE, rate_hz=RATE_HZ, rng=rng)
    corner = find_coupling(coupled(wet, 1.5, 3.0), bursts)
    # within the 30 ms that are looked at, the product of both corners takes off up to a tenth
    assert corner == pytest.approx(2 * np.pi * 4.5, rel=0.1)


@pytest.mark.parametrize("bend", [0.0, 0.02])
def test_nothing_is_found_where_nothing_is(bend, rng):
    bursts, wet, dry = play(recipe(carrier_hz=997.0, phases=5), DEVICE, rate_hz=RATE_HZ, rng=rng, bend=bend)
    assert find_coupling(wet, bursts) == 0.0
    assert find_coupling(dry, bursts) == 0.0


def test_the_trace_of_a_mid_band_carrier_is_free_of_the_thump(rng):
    bursts, wet, dry = play(
        recipe(carrier_hz=997.0, phases=5), DEVICE, rate_hz=RATE_HZ, rng=rng, noise_dbfs=-130
    )
    attack, _ = trace_edges(coupled(wet, 9.0), bursts=bursts, bypass=coupled(dry, 2.0))
    away = attack.time_s > 0.0003
    error = attack.gain_db[away] - DEVICE(attack.time_s[away], attack.time_s[away] - 0.4)
    # corner over carrier is 0.9 %: left alone the thump moves the trace by up to 0.2 dB
    assert np.max(np.abs(error)) < 0.005


def test_too_short_tones_are_left_as_they_are(rng):
    bursts, wet, _ = play(
        recipe(carrier_hz=997.0, hold_s=0.008, release_s=0.01), DEVICE, rate_hz=RATE_HZ, rng=rng
    )
    assert find_coupling(coupled(wet, 5.0), bursts) == 0.0
