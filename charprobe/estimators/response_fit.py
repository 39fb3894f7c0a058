"""Fits of a magnitude response: a constant, a tilt, or filters and shelves at both ends of the band."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np

from charprobe.estimators.fitting import Fitted, aicc, fit_unknowns
from charprobe.estimators.half_power import HALF_POWER_DB, REFERENCE_HZ, Side
from charprobe.values.arrays import Array
from charprobe.values.quantity import DB_PER_NEPER, Z95, Quantity

MODEL_FLOOR_DB = 0.01  # closer than this no description is asked to follow the curve
NOTICEABLE_DB = 0.05  # a response that strays less than this from a constant is called flat
TILTED = 4.0  # standard uncertainties by which a tilt must stand out
WIDEST_LOG = math.log(4.0)  # a corner not known within a factor of four tells nothing
ONE_CURVE = 0.1  # of the criterion by which descriptions of one curve may differ, as fits end
CUTS, SHELVES = (1, 2, 3, 4), (1, 2)  # orders

PartKind = Literal["cut", "shelf"]


@dataclass(frozen=True)
class ResponsePart:
    """One element of a description: a filter or a shelf at the low or the high end.

    Attributes
    ----------
    side : "low" or "high"
        End of the band it shapes.
    kind : "cut" or "shelf"
        A high-pass or low-pass, or a shelf.
    order : int
        1 or 2; of a cut up to 4.
    corner_hz : Quantity
        -3 dB frequency of a cut; of a shelf the frequency where half of its dB gain is reached.
    gain_db : Quantity or None
        Gain of a shelf, far out; None for a cut.
    rate_hz : float
        Sampling rate of the digital filter whose law it follows; infinite for an analogue one.
    """

    side: Side
    kind: PartKind
    order: int
    corner_hz: Quantity
    gain_db: Quantity | None
    rate_hz: float = math.inf

    def curve_db(self, frequency_hz: float) -> float:
        """Gain of the part alone at one frequency."""
        gain = [] if self.gain_db is None else [self.gain_db.value]
        at_hz, corner_hz = bent_hz(np.array([frequency_hz, self.corner_hz.value]), self.rate_hz)
        unknowns = np.array([math.log(corner_hz), *gain])
        element = Element(self.side, self.kind, self.order)
        return float(element.curve_db(np.array([at_hz]), unknowns)[0][0])

    @property
    def may_be_none(self) -> bool:
        """Whether it is a shelf of which not even the sign is sure."""
        return self.gain_db is not None and self.gain_db.low <= 0 <= self.gain_db.high

    def shown(self, frequency_hz: Array) -> float:
        """Share of a shelf's gain, in dB, that is reached at its end of a band; 1 for a cut."""
        if self.gain_db is None:
            return 1.0
        end_hz = float(frequency_hz[0] if self.side == "low" else frequency_hz[-1])
        return self.curve_db(end_hz) / self.gain_db.value


def bent_hz(frequency_hz: Array, rate_hz: float) -> Array:
    """Frequencies at which an analogue filter does what the digital one made from it does at these."""
    if not math.isfinite(rate_hz):
        return frequency_hz
    return np.asarray(rate_hz / math.pi * np.tan(math.pi * np.minimum(frequency_hz / rate_hz, 0.499)))


def straight_hz(frequency_hz: Array, rate_hz: float) -> Array:
    """Undo `bent_hz`."""
    if not math.isfinite(rate_hz):
        return frequency_hz
    return np.asarray(rate_hz / math.pi * np.arctan(math.pi * frequency_hz / rate_hz))


def simplest_fit(frequency_hz: Array, magnitude_db: Array, std_db: Array, rate_hz: float) -> ResponseFit:
    """The description of one law with the smallest criterion; a constant where nothing is noticeable.

    A bass shelf and a treble shelf the other way are one curve but for the gain: it is told from the end that
    its corner is nearer to.
    """
    sigma, at_hz = np.hypot(std_db, MODEL_FLOOR_DB), bent_hz(frequency_hz, rate_hz)
    fits = [_fit(model, at_hz, magnitude_db, sigma, rate_hz) for model in _models()]
    span_db = float(np.ptp(magnitude_db))
    if span_db / 2 < NOTICEABLE_DB:
        return fits[0]
    usable = [fit for fit in fits if fit.tells and max(fit.gains_db, default=0.0) <= 2 * span_db]
    least = min(fit.aicc for fit in usable)
    middle_hz = float(np.sqrt(frequency_hz[0] * frequency_hz[-1]))
    return min(
        (fit for fit in usable if fit.aicc < least + ONE_CURVE),
        key=lambda fit: (
            sum((part.side == "low") != (part.corner_hz.value < middle_hz) for part in fit.parts()),
            fit.aicc,
        ),
    )


@dataclass(frozen=True)
class Element:
    """A part yet to be fitted: its unknowns are log corner and, for a shelf, gain."""

    side: Side
    kind: PartKind
    order: int

    def curve_db(self, frequency_hz: Array, unknowns: Array) -> tuple[Array, list[Array]]:
        """The part's curve, and its derivatives by its unknowns."""
        sign = 1 if self.side == "low" else -1
        passed = np.exp(2 * self.order * sign * (unknowns[0] - np.log(frequency_hz)))
        by_corner = 2 * self.order * sign * DB_PER_NEPER / 2
        if self.kind == "cut":
            return -DB_PER_NEPER / 2 * np.log1p(passed), [-by_corner * passed / (1 + passed)]
        # the analogue shelf that reaches its gain for large `passed` and half of it at 1
        square = 10 ** (float(unknowns[1]) / 20)
        up, down = passed * square, passed / square
        curve = DB_PER_NEPER / 2 * np.log((1 + up) / (1 + down))
        rise, fall = up / (1 + up), down / (1 + down)
        return curve, [by_corner * (rise - fall), (rise + fall) / 2]


@dataclass(frozen=True)
class Model:
    """Elements that are laid on a constant, or a tilt."""

    elements: tuple[Element, ...]
    tilted: bool

    def curve_db(self, frequency_hz: Array, unknowns: Array) -> tuple[Array, Array]:
        """The whole curve, and its derivatives by the unknowns, one column each."""
        out, slopes = np.full(frequency_hz.size, unknowns[0]), [np.ones(frequency_hz.size)]
        if self.tilted:
            slopes.append(np.log10(frequency_hz / REFERENCE_HZ))
            out += unknowns[1] * slopes[1]
        at = 1
        for element in self.elements:
            curve, by_unknown = element.curve_db(frequency_hz, unknowns[at:])
            out, slopes, at = out + curve, slopes + by_unknown, at + len(by_unknown)
        return out, np.stack(slopes, axis=1)


def _models() -> list[Model]:
    def ends(side: Side) -> list[tuple[Element, ...]]:
        cuts, shelves = (Element(side, "cut", n) for n in CUTS), (Element(side, "shelf", n) for n in SHELVES)
        return [(), *((element,) for element in (*cuts, *shelves))]

    pairs = [Model(low + high, False) for low, high in product(ends("low"), ends("high"))]
    return [pairs[0], Model((), True), *pairs[1:]]


@dataclass(frozen=True)
class ResponseFit:
    """A model fitted to a response, and what it leaves."""

    model: Model
    fitted: Fitted
    widen: float  # of the covariance, where the residual exceeds what the weights allow
    residual_db: Array
    aicc: float
    rate_hz: float

    def curve_db(self, frequency_hz: Array) -> Array:
        """Magnitude at any frequencies."""
        return self.model.curve_db(bent_hz(frequency_hz, self.rate_hz), self.fitted.values)[0]

    def left(self, noise_db: Array) -> float:
        """Mean square of what is left over that of noise."""
        return float(np.mean((self.residual_db / noise_db) ** 2))

    @property
    def tells(self) -> bool:
        """Whether every part is placed, inside its range, and every shelf and tilt noticeable."""
        placed = [
            part.corner_hz.high / part.corner_hz.value < 0.99 * math.exp(WIDEST_LOG) for part in self.parts()
        ]
        if self.model.tilted and abs(self.fitted.values[1]) < max(NOTICEABLE_DB, TILTED * self._std(1)):
            return False
        least_db = min(self.gains_db, default=math.inf)
        return not self.fitted.at_bound and all(placed) and least_db >= NOTICEABLE_DB

    @property
    def gains_db(self) -> list[float]:
        """Sizes of the gains of its shelves; parts that undo each other within the band have large ones."""
        return [abs(part.gain_db.value) for part in self.parts() if part.gain_db is not None]

    def _std(self, unknown: int) -> float:
        return math.sqrt(max(0.0, self.fitted.covariance[unknown, unknown] * self.widen))

    def parts(self) -> tuple[ResponsePart, ...]:
        """Elements as fitted, low end first."""
        parts, at = [], 1
        for element in self.model.elements:
            log_corner, log_std = float(self.fitted.values[at]), self._std(at)
            log_reach = min(Z95 * log_std, WIDEST_LOG)
            ends_hz = np.exp(log_corner + log_reach * np.array([0.0, -1.0, 1.0]))
            middle_hz, low_hz, high_hz = straight_hz(ends_hz, self.rate_hz).tolist()
            corner = Quantity(middle_hz, low_hz, high_hz, "Hz")
            gain = None
            if element.kind == "shelf":
                gain = Quantity.from_std(self.fitted.values[at + 1], self._std(at + 1), "dB")
            parts.append(ResponsePart(element.side, element.kind, element.order, corner, gain, self.rate_hz))
            at += 1 if element.kind == "cut" else 2
        return tuple(parts)


def _fit(model: Model, frequency_hz: Array, magnitude_db: Array, sigma: Array, rate_hz: float) -> ResponseFit:
    middle = float(np.interp(math.log(REFERENCE_HZ), np.log(frequency_hz), magnitude_db))
    start, low, high = [middle], [-np.inf], [np.inf]
    if model.tilted:
        start, low, high = [middle, 0.0], [-np.inf, -np.inf], [np.inf, np.inf]
    for element in model.elements:
        end = magnitude_db[0] if element.side == "low" else magnitude_db[-1]
        corner, corners = _corner_start(element, frequency_hz, magnitude_db - middle, float(end - middle))
        start.append(math.log(corner))
        low.append(math.log(corners[0]))
        high.append(math.log(corners[1]))
        if element.kind == "shelf":
            start.append(float(np.clip(end - middle, -35, 35)) or 0.01)
            low.append(-40.0)
            high.append(40.0)

    def misfit(unknowns: Array) -> tuple[Array, Array]:
        curve, slopes = model.curve_db(frequency_hz, unknowns)
        return (magnitude_db - curve) / sigma, -slopes / sigma[:, None]

    fitted = fit_unknowns(misfit, start, bounds=(low, high), rounds=60, tolerance=1e-10)
    n, k = frequency_hz.size, len(start)
    residual = fitted.residuals * sigma
    widen = max(1.0, fitted.chi2 / (n - k))
    return ResponseFit(model, fitted, widen, residual, aicc(fitted.chi2, points=n, unknowns=k), rate_hz)


def _corner_start(
    element: Element, frequency_hz: Array, shape_db: Array, end_db: float
) -> tuple[float, tuple[float, float]]:
    """First guess of a corner and the range it may take: cuts may lie a little outside the curve's band."""
    below = frequency_hz <= REFERENCE_HZ
    half = end_db / 2 if element.kind == "shelf" else -HALF_POWER_DB
    side = below if element.side == "low" else ~below
    nearest = frequency_hz[side][np.argmin(np.abs(shape_db[side] - half))]
    first, last = float(frequency_hz[0]), float(frequency_hz[-1])
    outside = 30.0 if element.kind == "cut" else 1.0  # a shelf is only told where half of it shows
    limits = (first / outside, 3000.0) if element.side == "low" else (300.0, last * outside)
    if element.kind == "cut" and end_db > -HALF_POWER_DB:
        # how far outside the band a cut of this order lies that loses `end_db` at its edge
        reach = max(10 ** (max(-end_db, 1e-3) / 10) - 1, 1e-6) ** (1 / (2 * element.order))
        nearest = first * reach if element.side == "low" else last / reach
    return float(np.clip(nearest, limits[0] * 1.01, limits[1] / 1.01)), limits
