"""True attack and release of one burst condition, from the gain trace of the stage itself."""

from dataclasses import dataclass

import numpy as np

from charprobe.simulation.devices.stage import delay_samples
from charprobe.simulation.true_times import TrueTimes, over_periods, time_edge
from charprobe.values.arrays import Array

PHASES = 16


@dataclass(frozen=True)
class TrueBurst:
    """Attack and release of one burst condition, and the trace they were read from.

    `gain_db` has one value per sample; the rising edge is sample `attack_edge`, the falling one
    `release_edge`, both already moved by the delay of the stage.
    """

    attack: TrueTimes
    release: TrueTimes
    gain_db: Array
    attack_edge: int
    release_edge: int


def true_burst(
    stage,
    *,
    low_dbfs,
    high_dbfs,
    carrier_hz,
    lead_s,
    hold_s,
    release_s,
    rate_hz,
    rng,
):
    """Send a low, high, low burst through the stage in 16 carrier phases and time its own gain trace.

    Parameters
    ----------
    stage : Stage
        The device; its latency is taken from its truth.
    low_dbfs, high_dbfs : float
        Levels before, in and after the burst.
    carrier_hz : float
        Carrier; its phase at the rising edge is pi k / 16.
    lead_s, hold_s, release_s : float > 0
        Lengths of the three stretches; the gain settles at the end of each.
    rate_hz : float > 0
        Sampling rate.
    rng : numpy.random.Generator
        Handed to the stage.

    Notes
    -----
    The traces of the phases are averaged as amplitudes with the weight x**2, which is what any estimate from
    input and output sound can see of them, and averaged over carrier periods from eight periods after each
    edge on: see `over_periods`. Crossing times are interpolated between samples.
    """
    lead, hold, rest = (round(time_s * rate_hz) for time_s in (lead_s, hold_s, release_s))
    delay = delay_samples(stage, rate_hz=rate_hz)
    n = np.arange(lead + hold + rest) - lead
    level = np.where((n >= 0) & (n < hold), 10 ** (high_dbfs / 20), 10 ** (low_dbfs / 20))
    total, weight = np.zeros(n.size), np.zeros(n.size)
    for k in range(PHASES):
        tone = level * np.cos(2 * np.pi * carrier_hz / rate_hz * n + np.pi * k / PHASES)
        heard = np.concatenate([np.zeros(delay), tone])[: n.size] ** 2
        out = stage.process(tone, rate_hz=rate_hz, rng=rng)
        total += heard * 10 ** (out.gain_db / 20)
        weight += heard
    gain_db = np.zeros(n.size)
    gain_db[delay:] = 20 * np.log10(total[delay:] / weight[delay:])
    attack, release = lead + delay, lead + delay + hold
    period = rate_hz / carrier_hz
    for edge, stop in ((attack, release), (release, n.size)):
        gain_db = over_periods(gain_db, edge=edge, stop=stop, period=period)
    return TrueBurst(
        time_edge(
            gain_db[:release],
            edge=attack,
            early=delay,
            end_db=_settled(gain_db[attack:release]),
            rate_hz=rate_hz,
        ),
        time_edge(gain_db, edge=release, early=delay, end_db=_settled(gain_db[release:]), rate_hz=rate_hz),
        gain_db,
        attack,
        release,
    )


def _settled(gain_db):
    return float(np.mean(gain_db[-max(1, gain_db.size // 50) :]))
