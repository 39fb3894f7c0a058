"""AC coupling of the path undone beside the edges of bursts, so that level steps leave no thump behind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.timing.trace.phase_set import Burst, usable_stop
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array
from charprobe.values.cut import Cut

CALM_S, CALM_PERIODS = 0.02, 9  # rest before an edge that the baseline is taken from, at least
REACH_S, REACH_PERIODS = 0.02, 30  # how far after an edge the coupling is looked for and undone in full
FADE_PERIODS = 90  # over which undoing then fades out: what is left turns slowly enough to be averaged away
FILTER_PERIODS = 6  # length of the window that parts the baseline from the carrier
TAPER = 0.35875, 0.48829, 0.14128, 0.01168  # cosine terms (Harris, Proc. IEEE 66(1), 1978)
CLEAR = 5.0  # standard uncertainties from which on coupling is undone
MOST_RAD = 0.1  # coupling that turns the carrier further than this is no coupling but a filter in its band


@dataclass(frozen=True)
class _AroundEdge:
    """What surrounds one edge of one burst: samples from index `first` of the cut on, and their integral."""

    first: int
    edge: int
    samples: Array
    integral: Array


def find_coupling(cut: Cut, bursts: Sequence[Burst]) -> float:
    """Return the corner of the AC coupling that the baseline around falling edges shows, in rad/s.

    Parameters
    ----------
    cut : Cut
        A capture that holds all of `bursts`.
    bursts : sequence of Burst
        Repetitions of one burst at different carrier phases.

    Returns
    -------
    float
        Angular corner frequency, the sum over all couplings in the path; 0 where none stands out.

    Notes
    -----
    A level step through AC coupling leaves a thump: the baseline jumps by the step times corner over carrier
    frequency times the sine of the carrier's phase, and decays. What went into one pole at w is
    ``y + w * integral(y)``, exactly. The corner is fitted so that the baseline, seen through six carrier
    periods, is level across the falling edge, where the step is large against the tone. What is common to
    all carrier phases, such as rectification, is no thump and is left out of the fit.
    """
    reach_s = _reach_s(bursts[0].hold.frequency_hz)
    stretches = [_stretch(cut, b.hold, b.release, last=True, reach_s=reach_s) for b in bursts]
    found = [s for s in stretches if s is not None]
    if len(found) < max(2, len(bursts)):
        return 0.0
    period = cut.rate_hz / bursts[0].hold.frequency_hz / cut.step
    window = _taper(max(3, round(FILTER_PERIODS * period)))
    window /= window.sum()
    hop, half = max(1, round(period / 2)), window.size // 2
    early = min(s.edge - s.first for s in found)
    late = min(s.samples.size - (s.edge - s.first) for s in found)
    at = np.concatenate([np.arange(half - early, -half, hop), np.arange(half, late - half, hop)])
    if at.size < 4:
        return 0.0
    around = np.lib.stride_tricks.sliding_window_view
    lines = np.stack(
        [
            [around(x, window.size)[s.edge - s.first + at - half] @ window for x in (s.samples, s.integral)]
            for s in found
        ]
    )  # shape (bursts, 2, n)
    lines -= lines.mean(axis=2, keepdims=True)
    lines -= lines.mean(axis=0)
    y, integral = lines[:, 0].ravel(), lines[:, 1].ravel()
    corner = -float(y @ integral) / float(integral @ integral)
    rest = float(np.sum((y + corner * integral) ** 2))
    seen = y.size * hop / window.size  # values that the window leaves independent
    std = np.sqrt(rest / y.size / float(integral @ integral) * y.size / seen)
    clear = CLEAR * std < corner < MOST_RAD * 2 * np.pi * bursts[0].hold.frequency_hz
    return corner if clear else 0.0


def undo_coupling(cut: Cut, bursts: Sequence[Burst], *, corner_rad_per_s: float) -> Cut:
    """Return the cut with the coupling undone from shortly before to some time after every edge.

    What a steady carrier has in phase stays as it is; only its quadrature part changes.
    """
    samples = cut.samples.copy()
    full_s = _reach_s(bursts[0].hold.frequency_hz)
    reach_s = full_s + FADE_PERIODS / bursts[0].hold.frequency_hz
    leads = [_stretch(cut, b.lead, b.hold, last=False, reach_s=reach_s) for b in bursts]
    rests = [_rest(s.samples[: s.edge - s.first]) for s in leads if s is not None]
    offset = float(np.mean(rests)) if rests else 0.0
    done = 0
    for burst in bursts:
        for before, after, last in ((burst.lead, burst.hold, False), (burst.hold, burst.release, True)):
            s = _stretch(cut, before, after, last=last, reach_s=reach_s)
            if s is None:
                continue
            calm = s.edge - s.first
            since = np.arange(s.samples.size) * cut.step / cut.rate_hz
            added = corner_rad_per_s * (s.integral - offset * since)
            added -= _rest(s.samples[:calm] - offset + added[:calm])
            past = (since - since[calm] - full_s) / max(since[-1] - since[calm] - full_s, full_s)
            fade = 0.5 + 0.5 * np.cos(np.pi * np.clip(past, 0.0, 1.0))
            fresh = max(0, done - s.first)  # a short hold: its end belongs to both edges
            done = s.first + added.size
            samples[s.first + fresh : done] += (fade * added)[fresh:]
    return Cut(samples, cut.start, cut.step, cut.rate_hz)


def _reach_s(carrier_hz: float) -> float:
    return max(REACH_S, REACH_PERIODS / carrier_hz)


def _stretch(cut: Cut, before: Tone, after: Tone, *, last: bool, reach_s: float) -> _AroundEdge | None:
    """Collect one edge up to `reach_s` after it; None where the tones are too short to see a baseline."""
    rate_hz, period = cut.rate_hz / cut.step, cut.rate_hz / before.frequency_hz / cut.step
    edge = int(np.ceil((after.start - cut.start) / cut.step - 1e-6))
    first = edge - round(max(CALM_PERIODS * period, min(CALM_S * rate_hz, 0.5 * before.length)))
    stop = int((usable_stop(after, last=last, rate_hz=cut.rate_hz) - cut.start) / cut.step)
    stop = min(stop, edge + round(reach_s * rate_hz))
    if first < 0 or stop > cut.samples.size or stop - edge < 2 * FILTER_PERIODS * period:
        return None
    samples = cut.samples[first:stop]
    return _AroundEdge(first, edge, samples, np.asarray((np.cumsum(samples) - 0.5 * samples) / rate_hz))


def _taper(size: int) -> Array:
    """Return a window of four cosine terms whose side lobes lie 92 dB down."""
    turn = np.linspace(-np.pi, np.pi, size)
    return np.asarray(sum(share * np.cos(k * turn) for k, share in enumerate(TAPER)))


def _rest(samples: Array) -> float:
    """Baseline of a steady tone: a mean so tapered that nothing of the carrier shows in it."""
    window = _taper(samples.size)
    return float(window @ samples / window.sum())
