"""Harmonics of steady tones: levels and phases over the fundamental, each with what hides it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from charprobe.estimators.colour.harmonic_cell import HIGHEST, HarmonicCell
from charprobe.estimators.colour.moving_tone import movement_of
from charprobe.estimators.colour.tone_settling import SETTLED_DB, ToneSettling, judge_tones
from charprobe.estimators.tone import ToneAndRest, ToneFit, common_offset, fit_known_tone
from charprobe.estimators.tone_residual import beside_tone
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array, Complex
from charprobe.values.cut import Cut
from charprobe.values.errors import SegmentTooShortError
from charprobe.values.fast_length import fast_length_within
from charprobe.values.quantity import DB_PER_NEPER, Z95

SETTLE_SHARE = 0.4  # of a tone, at its start, left out: gain and filters settle there
EDGE_S = 0.007  # left out before a tone's end: its fade and the path's smear
CLOCK_TONES = 6  # the loudest tones, from which the frequency offset of all is read
FOLLOWS = 2.0  # dB by which n - 1 orders move per dB of gain: 1 of colour, 1 / slope of ripple
DRIFTS = 5.0  # standard uncertainties by which a harmonic must change from half to half to be said to drift
SLOWER_S = 1.0  # time a drift is granted to go on for
LEAST_SHARE = 0.005  # of a harmonic; what drifts by less is no store that matters to others


def measure_harmonics(cut: Cut, *, tones: Sequence[Tone]) -> tuple[HarmonicCell, ...]:
    """Measure harmonics 2 to 10 of every steady tone that a cut holds.

    Parameters
    ----------
    cut : Cut
        Capture of a whole run of tones.
    tones : sequence of Tone
        What was played; tones that the cut does not hold whole, or of which not one bit came back (a closed
        gate, a word too short for them), are left out.

    Returns
    -------
    tuple of HarmonicCell
        In the order of `tones`.

    Notes
    -----
    The first 40 % of each tone are left out for settling and the last 7 ms for its fade. One relative
    frequency offset is fitted to the loudest tones and used for all, so that weak tones are not led
    astray by noise. The fit is the joint least squares of `fit_tone`: amplitudes reach the Cramer-Rao
    bound of ``2 s**2 / n`` per part. A level that still moves, as in a slow release, would spread skirts
    of the fundamental over the harmonics; its movement is taken out, and an order that changes with its
    speed, as ripple does, is read as it would be at none (`movement_of`). How far the level had to go is
    judged from its trace, as for level steps: what may be up to 1 dB off is widened, what may be farther off
    is not given; so is a harmonic widened that changes from half to half by more than the level. Noise alone
    shows an order once in 270 000 times, one of the hundreds of a take once in a thousand takes.
    """
    held = [(tone, piece) for tone in tones if (piece := _settled(cut, tone)) is not None]
    if not held:
        return ()
    loudest = sorted(held, key=lambda pair: -pair[0].level_dbfs)[:CLOCK_TONES]
    offset = common_offset(
        [piece for _, piece in loudest],
        frequencies_hz=[tone.frequency_hz for tone, _ in loudest],
        phase_origins=[float(tone.start) for tone, _ in loudest],
        orders=1,
    )
    cells = [_cell(tone, piece, offset) for tone, piece in held]
    noise_db = np.array([_noise_db(cell, piece) for cell, (_, piece) in zip(cells, held, strict=True)])
    settling = judge_tones(
        cut, tones=[tone for tone, _ in held], noise_db=noise_db, late_share=SETTLE_SHARE, edge_s=EDGE_S
    )
    drifts = _drifts(cells, settling)
    return tuple(_judged(*each) for each in zip(cells, settling, drifts, strict=True))


def _noise_db(cell: HarmonicCell, piece: Cut) -> float:
    """Standard uncertainty of a tone's level over one second, in dB."""
    seconds = piece.samples.size * piece.step / piece.rate_hz
    return DB_PER_NEPER * float(cell.fit.stds[0] / abs(cell.fit.amplitudes[0])) * math.sqrt(seconds)


def _drifts(cells: Sequence[HarmonicCell], settling: Sequence[ToneSettling]) -> list[Array]:
    """Share by which each order of each tone may still drift.

    What the strongest order, of which noise hides least, does in two tones of a level, all others may do
    unseen, order n by n - 1 times as much as the second, and what any order does, the same one; less in
    quieter tones: one store fills under them. What moves with the level tells of no store.
    """
    of_all: dict[float, list[float]] = defaultdict(list)
    of_one: dict[tuple[float, int], list[float]] = defaultdict(list)
    for cell, one in zip(cells, settling, strict=True):
        if cell.orders > 1:
            shares = cell.moving_stds / np.maximum(np.abs(cell.ratios), 1e-12)
            for order, share in enumerate(shares.tolist()):
                of_one[cell.tone.level_dbfs, order].append(share)
            if one.doubt_db <= SETTLED_DB:
                n = int(np.argmax(np.abs(cell.ratios)))
                of_all[cell.tone.level_dbfs].append(float(shares[n]) / (n + 1))
    sure = [(at, np.arange(1, HIGHEST) * _second(found)) for at, found in of_all.items()]
    sure += [(at, _second(found) * (np.arange(HIGHEST - 1) == n)) for (at, n), found in of_one.items()]
    sure = [(at, share) for at, share in sure if np.max(share) > LEAST_SHARE]
    drifts = []
    for cell in cells:
        share = np.zeros(HIGHEST - 1)
        for at, found in sure:
            share = np.maximum(share, found * min(1.0, 10 ** ((cell.tone.level_dbfs - at) / 20)))
        drifts.append(share[: cell.orders - 1])
    return drifts


def _second(found: list[float]) -> float:
    return sorted(found)[-2] if len(found) > 1 else 0.0


def _judged(cell: HarmonicCell, settling: ToneSettling, drift: Array) -> HarmonicCell:
    """The cell with what its level still had to go, and what its orders may drift by besides."""
    follow = FOLLOWS * settling.doubt_db / DB_PER_NEPER / Z95 * np.arange(1, cell.orders)
    unsure = np.maximum(cell.moving_stds, np.hypot(follow, drift) * np.abs(cell.ratios))
    return replace(cell, settling=settling, moving_stds=unsure)


def _settled(cut: Cut, tone: Tone) -> Cut | None:
    start = tone.start + max(SETTLE_SHARE * tone.length, 2 * tone.ramp)
    stop = tone.stop - EDGE_S * cut.rate_hz
    piece = cut.between(start, stop)
    whole = piece.samples.size >= int((stop - start) / cut.step)
    return piece if whole and piece.samples.any() else None


def _cell(tone: Tone, piece: Cut, relative: float) -> HarmonicCell:
    frequency_hz = tone.frequency_hz * (1 + relative)

    def fitted(cut: Cut) -> ToneAndRest:
        return fit_known_tone(cut, frequency_hz=frequency_hz, phase_origin=float(tone.start), orders=HIGHEST)

    movement = movement_of(piece, fitted(piece))
    steady = Cut(piece.samples - movement.wave, piece.start, piece.step, piece.rate_hz)
    found = fitted(steady)
    fit = found.fit
    own = float(abs(fit.amplitudes[0]))
    beside = beside_tone(steady, found)
    return HarmonicCell(
        tone,
        fit,
        fit.amplitudes[1:] * _turn(fit) / own,
        np.hypot(fit.stds[1:] / own, movement.unsure),
        _drifting(steady, fitted, fit.orders, moved=movement.moved),
        strays=beside.lines,
        noise=beside.noise,
    )


def _drifting(piece: Cut, fitted: Callable[[Cut], ToneAndRest], orders: int, *, moved: float) -> Array:
    """What a drift of each ratio from the first half of a tone to the second adds to its uncertainty.

    Ripple may still fall, or a bias creep, while a slow store fills. What the level, which `moved` by that
    share, takes the orders along by is judged with it; the rest is granted `SLOWER_S` to go on.
    """
    seconds = piece.samples.size * piece.step / piece.rate_hz / 2
    count = fast_length_within(piece.samples.size // 2)
    begins = (piece.start, piece.start + piece.step * (piece.samples.size - count))
    halves = zip((piece.samples[:count], piece.samples[-count:]), begins, strict=True)
    try:
        first, second = (fitted(Cut(half, at, piece.step, piece.rate_hz)).fit for half, at in halves)
    except SegmentTooShortError:
        return np.zeros(orders - 1)
    ratios = [fit.amplitudes[1:] * _turn(fit) / abs(fit.amplitudes[0]) for fit in (first, second)]
    noise = np.hypot(*(fit.stds[1:] / abs(fit.amplitudes[0]) for fit in (first, second)))
    with_level = FOLLOWS * moved * np.arange(1, orders) * np.abs(ratios[1])
    drift = np.maximum(np.abs(ratios[1] - ratios[0]) - with_level, 0.0)
    return np.where(drift > DRIFTS * noise, drift * SLOWER_S / seconds / Z95, 0.0)


def _turn(fit: ToneFit) -> Complex:
    """Factors that turn orders 2, 3, ... to the phase of the fundamental."""
    return np.asarray(np.exp(-1j * np.arange(2, fit.orders + 1) * np.angle(fit.amplitudes[0])))
