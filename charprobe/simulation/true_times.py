"""True attack and release times of a stage, read from its own gain trace instead of from sound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.simulation.devices.stage import Stage, delay_samples
from charprobe.values.arrays import Array

PHASES = 16
CALM_PERIODS = 8  # carrier periods after an edge from which gain means the mean over a carrier period
BEFORE = 8  # samples averaged for the gain at an edge


@dataclass(frozen=True)
class TrueTimes:
    """Times from one edge of a burst to shares of the gain change, and to margins around its end.

    A time is inf where the trace ends first.

    Attributes
    ----------
    t50_s, t63_s, t90_s : float
        From the edge, the first sample at the new level, until that share of the gain change in dB has
        passed; with look-ahead they may be negative.
    within_2db_s, within_3db_s, within_4db_s : float
        Last time the gain is farther than this from where it settles.
    change_db : float
        Gain change from the edge (less the look-ahead) to the end of the stretch after it, in dB; times of a
        change below about 0.1 dB mean nothing.
    """

    t50_s: float
    t63_s: float
    t90_s: float
    within_2db_s: float
    within_3db_s: float
    within_4db_s: float
    change_db: float


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
    stage: Stage,
    *,
    low_dbfs: float,
    high_dbfs: float,
    carrier_hz: float,
    lead_s: float,
    hold_s: float,
    release_s: float,
    rate_hz: float,
    rng: np.random.Generator,
) -> TrueBurst:
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


def over_periods(gain_db: Array, *, edge: int, stop: int, period: float) -> Array:
    """Average a trace over a carrier period about each sample from eight periods after an edge on.

    What a detector makes of the carrier, and the beats of bursts that start from different gains, are not
    what times are read from.

    Parameters
    ----------
    gain_db : ndarray, shape (n,)
        The trace.
    edge, stop : int
        First sample after the edge, and where the stretch ends.
    period : float > 0
        Carrier period in samples.
    """
    out, index = gain_db.copy(), np.arange(gain_db.size)
    total = np.concatenate([[0.0], np.cumsum((gain_db[1:] + gain_db[:-1]) / 2)])
    at = np.arange(edge + int(np.ceil(CALM_PERIODS * period)), stop - int(np.ceil(period / 2)))
    upper, lower = (np.interp(at + sign * period / 2, index, total) for sign in (1, -1))
    out[at] = (upper - lower) / period
    return out


def _settled(gain_db: Array) -> float:
    return float(np.mean(gain_db[-max(1, gain_db.size // 50) :]))


def time_edge(gain_db: Array, *, edge: int, early: int, end_db: float, rate_hz: float) -> TrueTimes:
    """Time the change of a gain trace around an edge.

    Parameters
    ----------
    gain_db : ndarray, shape (n,)
        The trace, up to the next edge.
    edge : int
        First sample at the new level.
    early : int >= 0
        Samples before the edge at which the gain may begin to move; the trace holds some more than that.
    end_db : float
        Where the gain settles after the edge.
    rate_hz : float > 0
        Sampling rate.
    """
    first = edge - early
    start_db = float(np.mean(gain_db[first - BEFORE : first]))
    trace = gain_db[first - 1 :]
    time_s = (np.arange(trace.size) - 1 - early) / rate_hz
    change_db = end_db - start_db

    def passed(share: float) -> float:
        level = start_db + share * change_db
        beyond = np.flatnonzero((trace - level) * np.sign(change_db) >= 0)
        return _cross(trace, time_s, level, int(beyond[0])) if beyond.size else np.inf

    def within(margin_db: float) -> float:
        outside = np.flatnonzero(np.abs(trace - end_db) > margin_db)
        if outside.size == 0:
            return 0.0
        level = end_db + np.copysign(margin_db, trace[outside[-1]] - end_db)
        return _cross(trace, time_s, float(level), int(outside[-1]) + 1)

    shares = (passed(0.5), passed(1 - np.exp(-1)), passed(0.9))
    return TrueTimes(*shares, within(2), within(3), within(4), change_db)


def _cross(trace: Array, time_s: Array, level: float, at: int) -> float:
    """Time at which the trace crosses `level` between samples ``at - 1`` and `at`."""
    if at == trace.size:
        return np.inf
    if at == 0:
        return float(time_s[0])
    part = (level - trace[at - 1]) / (trace[at] - trace[at - 1])
    return float(time_s[at - 1] + part * (time_s[at] - time_s[at - 1]))
