from dataclasses import replace

import numpy as np
import pytest
from burst_device import exponential, play, recipe

from charprobe.estimators.timing.trace.trace_edges import trace_edges

ATTACK_S, RELEASE_S, DEPTH_DB = 0.001, 0.1, 12.0


DEVICE = exponential(attack_s=ATTACK_S, release_s=RELEASE_S, depth_db=DEPTH_DB, hold_s=0.4)


def errors_db(trace, hold_s=0.4):
    """Trace less truth where the path's own edge does not hide it."""
    away = np.abs(trace.time_s) > 5 * trace.sample_s
    time_s = trace.time_s[away]
    truth = DEVICE(time_s, time_s - hold_s) if trace.edge == "attack" else DEVICE(time_s + hold_s, time_s)
    return trace.gain_db[away] - truth, trace.std_db[away]


@pytest.mark.parametrize(
    ("rate_hz", "ppm", "phases"), [(44_100, 50, 4), (48_000, -30, 8), (96_000, 0, 5), (192_000, 50, 8)]
)
def test_gain_at_every_sample_equals_the_closed_form(rate_hz, ppm, phases, rng):
    bursts, wet, dry = play(recipe(phases=phases), DEVICE, rate_hz=rate_hz, ppm=ppm, rng=rng)
    for trace in trace_edges(wet, bursts=bursts, bypass=dry):
        error, _ = errors_db(trace)
        # at the edge the Gaussian of one sample lags the exponential by half its variance over tau
        lag = DEPTH_DB / (ATTACK_S * rate_hz) ** 2 if trace.edge == "attack" else 0.0
        # five sigma of -110 dBFS beside -40 dBFS, which the stage still turns down when the release begins
        noise = 5 * 8.69 * 10 ** (-70 / 20) / np.sqrt(phases)
        noise *= 10 ** (DEPTH_DB / 20) if trace.edge == "release" else 1.0
        assert np.max(np.abs(error)) < noise + lag + 0.005


def test_stated_uncertainty_of_points_equals_the_scatter(rng):
    bursts, wet, dry = play(recipe(), DEVICE, rate_hz=48_000, ppm=20, rng=rng, noise_dbfs=-80)
    _, release = trace_edges(wet, bursts=bursts, bypass=dry)
    error, std = errors_db(release)
    late = -1000
    # 1000 points: three sigma of a standard deviation are 7 %; half-period means share some noise
    assert np.std(error[late:] / std[late:]) == pytest.approx(1, abs=0.15)


# in a set of 7 second-order products cancel sample by sample; in a set of 2 they do not
@pytest.mark.parametrize(("phases", "finer_than_half_a_period"), [(7, True), (2, False)])
def test_even_order_products_are_averaged_out_and_the_resolution_says_so(
    phases, finer_than_half_a_period, rng
):
    bursts, wet, dry = play(recipe(phases=phases), DEVICE, rate_hz=48_000, rng=rng, bend=0.02)
    attack, _ = trace_edges(wet, bursts=bursts, bypass=dry)
    error, _ = errors_db(attack)
    later = attack.time_s[np.abs(attack.time_s) > 5 * attack.sample_s] > 0.01
    assert (attack.resolution_s < 0.4 / 3989) == finer_than_half_a_period
    assert np.max(np.abs(error[later])) < 0.01  # the raw residue of 2 % second order is 0.2 dB


@pytest.mark.parametrize("ppm", [0, 12, -25])
def test_a_thump_that_every_burst_brings_is_no_gain_whatever_the_clock(ppm, rng):
    bursts, wet, dry = play(
        recipe(phases=5, carrier_hz=4093.0), DEVICE, rate_hz=48_000, ppm=ppm, rng=rng, thump=0.02
    )
    _, release = trace_edges(
        wet, bursts=bursts, bypass=dry
    )  # twice the peak of the quiet tone under the thump
    error, _ = errors_db(release)
    soon = np.abs(release.time_s[np.abs(release.time_s) > 5 * release.sample_s]) < 0.003
    assert np.max(np.abs(error[soon])) < 0.5


def test_a_single_burst_falls_back_to_the_carrier_period(rng):
    bursts, wet, dry = play(recipe(phases=1), DEVICE, rate_hz=48_000, rng=rng)
    attack, _ = trace_edges(wet, bursts=bursts, bypass=dry)
    assert attack.resolution_s > 1 / 3989
    error, _ = errors_db(attack)
    later = attack.time_s[np.abs(attack.time_s) > 5 * attack.sample_s] > 0.01
    assert np.max(np.abs(error[later])) < 0.01


def test_what_a_resonance_rings_after_an_edge_is_no_gain(rng):
    bursts, wet, dry = play(recipe(phases=5), DEVICE, rate_hz=48_000, rng=rng)
    position, ring = wet.start + wet.step * np.arange(wet.samples.size), np.zeros(wet.samples.size)
    for burst in bursts:  # 70 Hz, 1 % of the loud tone, its phase that which the carrier broke off with
        since = (position - burst.release.start) / 48_000
        phase = 2 * np.pi * 3989 / 48_000 * (burst.release.start - burst.hold.start) + burst.hold.phase_rad
        ring += np.where(
            since < 0, 0.0, 0.003 * np.exp(-since / 0.01) * np.cos(2 * np.pi * 70 * since + phase)
        )
    _, trace = trace_edges(replace(wet, samples=wet.samples + ring), bursts=bursts, bypass=dry)
    near = (trace.time_s > 1 / 3989) & (trace.time_s < 8 / 3989)
    truth = DEVICE(trace.time_s + 0.4, trace.time_s)
    # lines between 12 points a period leave 3.4 % of a ring that is 1.2 times as large as what the carrier has left
    assert np.max(np.abs(trace.gain_db - truth)[near]) < 0.4
