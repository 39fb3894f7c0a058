"""Harmonics of steady tones: levels and phases over the fundamental, each with what hides it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from charprobe.estimators.colour.tone_settling import AT_REST, SETTLED_DB, ToneSettling, judge_tones
from charprobe.estimators.tone import ToneFit, fit_common_frequency, fit_tone
from charprobe.estimators.tone_residual import StrayLine, beside_tone, subtract_tone
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array, Complex
from charprobe.values.cut import Cut
from charprobe.values.quantity import DB_PER_NEPER, DETECTED, Z95, Quantity, Reading, Unmeasured
from charprobe.values.wording import number_text

HIGHEST = 10
SETTLE_SHARE = 0.4  # of a tone, at its start, left out: gain and filters settle there
EDGE_S = 0.007  # left out before a tone's end: its fade and the path's smear
CLOCK_TONES = 6  # the loudest tones, from which the frequency offset of all is read
STEADYING, DEGREE = 3, 5  # rounds and polynomial degree by which slow movement of the level is taken out
MOST_DOUBT_DB = 1.0  # a level that may still have had farther to go than this tells no harmonics
MOVES = 1.0  # standard uncertainties of the fundamental from which it counts as moving
NEXT = "raise the level, lengthen the tones, or record with less noise"


@dataclass(frozen=True)
class HarmonicCell:
    """One tone of a level x frequency map.

    Attributes
    ----------
    tone : Tone
        What was played.
    fit : ToneFit
        The fitted orders.
    ratios : ndarray of complex, shape (orders - 1,)
        Order n = 2, 3, ... over the fundamental; the angle is the phase of order n less n times that of the
        fundamental (cosine convention).
    stds : ndarray, shape (orders - 1,)
        Standard uncertainty of the real and of the imaginary part of each ratio; where the gain still moved,
        with what order n changes by if the drive does: n - 1 times as many dB.
    settling : ToneSettling
        How far the level still had to go.
    strays : tuple of StrayLine
        Steady lines beside the tone that are no harmonics of it, strongest first.
    noise : Quantity or None
        Unweighted noise from 20 Hz to 20 kHz beside the tone, in dBFS, harmonics and lines left out.
    """

    tone: Tone
    fit: ToneFit
    ratios: Complex
    stds: Array
    settling: ToneSettling = AT_REST
    strays: tuple[StrayLine, ...] = ()
    noise: Quantity | None = None

    @property
    def orders(self) -> int:
        """Highest order inside the band, 10 at most; 1 if not even the second fits."""
        return int(self.ratios.size) + 1

    @property
    def settled(self) -> bool:
        """Whether less than 0.05 dB was left to go, interval included."""
        return self.settling.doubt_db <= SETTLED_DB

    @property
    def told(self) -> bool:
        """Whether the level was near enough to settled for harmonics and level to be given."""
        return self.settling.doubt_db <= MOST_DOUBT_DB

    @property
    def fundamental(self) -> Reading:
        """Level of the fundamental in dBFS."""
        if not self.told:
            return self._moving("dBFS")
        level = self.fit.level(1)
        if isinstance(level, Unmeasured) or self.settled:
            return level
        return Quantity.from_std(level.value, math.hypot(level.std, self.settling.doubt_db / Z95), "dBFS")

    def _moving(self, unit: str) -> Unmeasured:
        left = number_text(abs(self.settling.remaining_db), 1)
        reason = f"the gain had not settled during this tone: about {left} dB were left to go"
        return Unmeasured(unit, reason, "a recipe with longer tones")

    @property
    def limits_dbc(self) -> Array:
        """Level over the fundamental at which each order would just be detected; shape (orders - 1,)."""
        return np.asarray(DB_PER_NEPER * np.log(np.maximum(DETECTED * self.stds, 1e-15)))

    def detected(self, order: int) -> bool:
        """Tell whether an order rises above the noise beside it; False outside the band."""
        if order > self.orders or not self.told:
            return False
        return bool(abs(self.ratios[order - 2]) > max(DETECTED * float(self.stds[order - 2]), 1e-14))

    def level(self, order: int) -> Reading:
        """Level of one order over the fundamental, in dBc, or the bound below which it lies."""
        if order > self.orders:
            reason = f"order {order} of {self.tone.frequency_hz:g} Hz lies above the band of the capture"
            return Unmeasured("dBc", reason, "a lower tone or a higher sampling rate")
        if not self.told:
            return self._moving("dBc")
        size, std = float(abs(self.ratios[order - 2])), float(self.stds[order - 2])
        if not self.detected(order):
            bound = DB_PER_NEPER * math.log(max(size + Z95 * std, DETECTED * std, 1e-15))
            reason = f"no harmonic {order} above {number_text(bound, 1)} dBc: the noise hides what is lower"
            return Unmeasured("dBc", reason, NEXT, at_most=bound)
        return Quantity.from_std(DB_PER_NEPER * math.log(size), DB_PER_NEPER * std / size, "dBc")

    def phase(self, order: int) -> Reading:
        """Phase of one order less `order` times that of the fundamental, in degrees from -180 to 180."""
        level = self.level(order)
        if isinstance(level, Unmeasured):
            return Unmeasured("deg", level.reason, level.next)
        ratio, std = self.ratios[order - 2], float(self.stds[order - 2])
        own = float(self.fit.stds[0] / abs(self.fit.amplitudes[0]))
        return Quantity.from_std(
            float(np.degrees(np.angle(ratio))), math.degrees(math.hypot(std / abs(ratio), order * own)), "deg"
        )

    def power(self, orders: Sequence[int]) -> tuple[float, float]:
        """Power of some orders over the fundamental's, less the noise's share, and its standard uncertainty.

        Orders outside the band count as nothing. The power may come out below zero where there is only noise.
        """
        chosen = [order - 2 for order in orders if order <= self.orders]
        size2, std2 = np.abs(self.ratios[chosen]) ** 2, self.stds[chosen] ** 2
        return float(np.sum(size2 - 2 * std2)), float(np.sqrt(np.sum(4 * size2 * std2 + 4 * std2**2)))

    @property
    def thd(self) -> Reading:
        """Root sum of squares of orders 2 to 10 over the fundamental, in dBc, or its bound."""
        if self.orders < 2:
            reason = f"no harmonic of {self.tone.frequency_hz:g} Hz lies inside the band of the capture"
            return Unmeasured("dBc", reason, "a lower tone or a higher sampling rate")
        if not self.told:
            return self._moving("dBc")
        power, std = self.power(range(2, HIGHEST + 1))
        lone = 2 * math.sqrt(float(np.sum(self.stds**4)))  # scatter where there is only noise
        if power <= max(DETECTED * lone, Z95 * std, 1e-28):
            bound = 10 * math.log10(max(max(power, 0.0) + Z95 * std, DETECTED * lone, 1e-30))
            reason = f"all harmonics together lie below {number_text(bound, 1)} dBc: the noise hides them"
            return Unmeasured("dBc", reason, NEXT, at_most=bound)
        low, value, high = (10 * math.log10(power + k * Z95 * std) for k in (-1, 0, 1))
        return Quantity(value, low, high, "dBc")


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
    of the fundamental over the harmonics: its movement is described by polynomials over the cut and taken
    out. How far it still had to go is judged from its trace, as for level steps; what may be 0.05 to 1 dB off
    is widened, what may be farther off is not given. With `DETECTED` = 4, noise alone shows an order once in
    3000 times.
    """
    held = [(tone, piece) for tone in tones if (piece := _settled(cut, tone)) is not None]
    if not held:
        return ()
    loudest = sorted(held, key=lambda pair: -pair[0].level_dbfs)[:CLOCK_TONES]
    offset = fit_common_frequency(
        [piece for _, piece in loudest],
        frequencies_hz=[tone.frequency_hz for tone, _ in loudest],
        phase_origins=[float(tone.start) for tone, _ in loudest],
        orders=1,
    )
    cells = [_cell(tone, piece, offset.relative) for tone, piece in held]
    noise_db = np.array([_noise_db(cell, piece) for cell, (_, piece) in zip(cells, held, strict=True)])
    settling = judge_tones(
        cut, tones=[tone for tone, _ in held], noise_db=noise_db, late_share=SETTLE_SHARE, edge_s=EDGE_S
    )
    return tuple(_judged(cell, one) for cell, one in zip(cells, settling, strict=True))


def _noise_db(cell: HarmonicCell, piece: Cut) -> float:
    """Standard uncertainty of a tone's level over one second, in dB."""
    seconds = piece.samples.size * piece.step / piece.rate_hz
    return DB_PER_NEPER * float(cell.fit.stds[0] / abs(cell.fit.amplitudes[0])) * math.sqrt(seconds)


def _judged(cell: HarmonicCell, settling: ToneSettling) -> HarmonicCell:
    if settling.doubt_db <= SETTLED_DB:
        return replace(cell, settling=settling)
    shares = settling.doubt_db / DB_PER_NEPER / Z95 * np.arange(1, cell.orders)
    return replace(cell, settling=settling, stds=np.hypot(cell.stds, shares * np.abs(cell.ratios)))


def _settled(cut: Cut, tone: Tone) -> Cut | None:
    start = tone.start + max(SETTLE_SHARE * tone.length, 2 * tone.ramp)
    stop = tone.stop - EDGE_S * cut.rate_hz
    piece = cut.between(start, stop)
    whole = piece.samples.size >= int((stop - start) / cut.step)
    return piece if whole and piece.samples.any() else None


def _cell(tone: Tone, piece: Cut, relative: float) -> HarmonicCell:
    frequency_hz = tone.frequency_hz * (1 + relative)

    def fitted(cut: Cut) -> ToneFit:
        return fit_tone(
            cut, frequency_hz=frequency_hz, phase_origin=float(tone.start), orders=HIGHEST, refine=False
        )

    steady, fit = piece, fitted(piece)
    for _ in range(STEADYING):
        movement = _slow_movement(piece, fit)
        if movement is None:
            break
        steady = Cut(piece.samples - movement, piece.start, piece.step, piece.rate_hz)
        fit = fitted(steady)
    first = complex(fit.amplitudes[0])
    order = np.arange(2, fit.orders + 1)
    turn = np.exp(-1j * order * np.angle(first))
    own = float(abs(first))
    beside = beside_tone(steady, fit)
    return HarmonicCell(
        tone,
        fit,
        fit.amplitudes[1:] * turn / own,
        fit.stds[1:] / own,
        strays=beside.lines,
        noise=beside.noise,
    )


def _slow_movement(piece: Cut, fit: ToneFit) -> Array | None:
    """What slow movement of the fundamental's level and phase adds to a steady tone; None if there is none.

    The residual is projected onto the tone times Legendre polynomials of degree 1 to `DEGREE` over the cut.
    """
    n = piece.samples.size
    turns = 2 * np.pi * fit.frequency_hz * piece.step / piece.rate_hz
    index = np.arange(n) - (n - 1) / 2
    carrier = np.exp(1j * turns * index)
    residual = subtract_tone(piece, fit).samples
    shapes = np.polynomial.legendre.legvander(2 * index / n, DEGREE)[:, 1:]
    # for many periods the parts are orthogonal: <P, P> = n / (2 degree + 1), halved by the carrier
    weights = 2 * (2 * np.arange(1, DEGREE + 1) + 1) / n
    moves = weights * (shapes.T @ (residual * carrier.conj()))
    noise = fit.stds[0] * np.sqrt(2 * np.arange(1, DEGREE + 1) + 1)
    floor = max(float(noise[0]) * MOVES, 1e-13)
    if np.max(np.abs(moves)) < floor:
        return None
    return np.asarray(np.real((shapes @ moves) * carrier))
