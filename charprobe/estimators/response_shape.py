"""The simplest description of a magnitude response: flat, tilted, filtered or shelved."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import product
from typing import Literal

import numpy as np

from charprobe.estimators.fitting import Fitted, aicc, fit_unknowns
from charprobe.estimators.half_power import HALF_POWER_DB, REFERENCE_HZ, Side, half_power_corner
from charprobe.values.arrays import Array
from charprobe.values.quantity import DB_PER_NEPER, Z95, Quantity, Reading
from charprobe.values.wording import signed_text

MODEL_FLOOR_DB = 0.01  # closer than this no description is asked to follow the curve
NOTICEABLE_DB = 0.05  # a response that strays less than this from a constant is called flat
TILT_FROM_HZ, TILT_TO_HZ = 100.0, 10_000.0
FEWEST_POINTS = 24  # two octaves of the usual spacing
FOLLOWS_DB = 0.3  # a description farther off than this is named as the nearest, not as what the stage does
TILTED = 4.0  # standard uncertainties by which a tilt must stand out
TOLD_DB = 0.1  # an interval this wide at any point is told beside the description
WIDEST_LOG = math.log(4.0)  # a corner not known within a factor of four tells nothing
ALIKE = 2.0  # times the least mean square that a law leaves: the other follows too
REACHED = 0.98  # share of a treble shelf's gain from which on no law beyond the band matters
SHOWN = 0.8  # share of a shelf's gain that must lie within the band, or else ...
FOLLOWED = 2.0  # ... its fit must leave no more than noise: this mean square over that of noise and ...
EXACT_DB = 0.003  # ... what the worst point of a known response was found off by (docs/accuracy/colour.md)

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
        1 or 2.
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
        element = _Element(self.side, self.kind, self.order)
        return float(element.curve_db(np.array([at_hz]), unknowns)[0][0])

    def shown(self, frequency_hz: Array) -> float:
        """Share of a shelf's gain, in dB, that is reached at its end of a band; 1 for a cut."""
        if self.gain_db is None:
            return 1.0
        end_hz = float(frequency_hz[0] if self.side == "low" else frequency_hz[-1])
        return self.curve_db(end_hz) / self.gain_db.value


@dataclass(frozen=True)
class ResponseShape:
    """What a magnitude response amounts to.

    Attributes
    ----------
    gain_db : Quantity
        Gain of the description apart from its parts.
    parts : tuple of ResponsePart
        Low end first; empty for a flat or merely tilted response, and where no description follows the curve.
    tilted : bool
        Whether a straight tilt over log frequency is the description.
    tilt_db_per_decade : Quantity
        Least-squares slope, 100 Hz to 10 kHz, uniform in log frequency; always measured.
    low_corner_hz, high_corner_hz : Quantity or Unmeasured
        Where the magnitude is 3 dB below mid-band: the corner of the filter that describes that end, or else
        the crossing of 3 dB below the magnitude at 1 kHz; or the bound it lies beyond.
    sentence : str
        The description in words.
    """

    gain_db: Quantity
    parts: tuple[ResponsePart, ...]
    tilted: bool
    tilt_db_per_decade: Quantity
    low_corner_hz: Reading
    high_corner_hz: Reading
    sentence: str

    @property
    def shelf(self) -> ResponsePart | None:
        """The shelf with the larger gain, if there is any."""
        shelves = [part for part in self.parts if part.gain_db is not None]
        return max(shelves, key=lambda part: abs(part.gain_db.value) if part.gain_db else 0.0, default=None)


def describe_response(
    frequency_hz: Array,
    *,
    magnitude_db: Array,
    std_db: Array,
    moved_db: float = 0.0,
    rate_hz: float = math.inf,
) -> ResponseShape:
    """Find the simplest description that fits a magnitude response.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        At least `FEWEST_POINTS` ascending frequencies, about evenly spaced in log frequency, spanning 1 kHz.
    magnitude_db, std_db : ndarray, shape (n,)
        Magnitude and its standard uncertainty.
    moved_db : float >= 0
        Standard uncertainty for a gain that may have moved while the frequencies were played one by one.
    rate_hz : float
        Sampling rate of a digital stage, whose filters bend towards half of it; infinite for none.

    Notes
    -----
    A gain that moves makes a tilt: a step in the band's middle one of 1.5 times its size over all decades.
    Candidates are a constant, a tilt, and every pair of a low-end part (none, high-pass or shelf of order 1
    or 2) and a high-end part (none, low-pass or shelf of order 1 or 2); second-order parts are Butterworth
    shaped. Each is fitted by weighted least squares, the weight's floor being 0.01 dB, and the smallest
    corrected Akaike criterion wins. Intervals come from the fit's covariance, widened when the residual
    exceeds what the weights allow. A shelf of which the band shows less than `SHOWN` is told by what it comes
    to at the band's end alone, unless its fit leaves nothing but noise: what it reaches farther out is the
    model's word, which a curve of another kind does not keep. So is what a treble shelf reaches beyond the
    band: a digital one comes to its gain at half the sampling rate, an analogue one nowhere. The law that
    leaves clearly less is taken; where both follow, intervals reach over both. So it is with low-passes.
    """
    noise = np.hypot(std_db, EXACT_DB)
    chosen = _simplest(frequency_hz, magnitude_db, std_db, math.inf)
    parts = chosen.parts()
    if math.isfinite(rate_hz) and any(_runs_on(part, frequency_hz) for part in parts):
        other = _simplest(frequency_hz, magnitude_db, std_db, rate_hz)
        chosen, beside = sorted((chosen, other), key=lambda one: one.left(noise))
        both = beside.left(noise) < ALIKE * chosen.left(noise)
        parts = _over_both(chosen.parts(), beside.parts()) if both else chosen.parts()
    worst = float(np.max(np.abs(chosen.residual_db)))
    followed = chosen.left(noise) < FOLLOWED
    running_on = () if followed else tuple(part for part in parts if part.shown(frequency_hz) < SHOWN)
    trusted = tuple(part for part in parts if part not in running_on) if worst < FOLLOWS_DB else ()
    low, high = (_corner(trusted, frequency_hz, magnitude_db, std_db, side=side) for side in ("low", "high"))
    tilt = _tilt(frequency_hz, magnitude_db, std_db, moved_db)
    tilted = chosen.model.tilted
    sentence = _sentence(parts, running_on, tilt if tilted else None, magnitude_db, frequency_hz, worst)
    unsure_db = Z95 * float(np.max(std_db))
    if unsure_db > TOLD_DB:
        sentence += f"; points of it are known to ±{unsure_db:.1f} dB at worst"
    return ResponseShape(chosen.gain(), trusted, tilted, tilt, low, high, sentence)


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


def _simplest(frequency_hz: Array, magnitude_db: Array, std_db: Array, rate_hz: float) -> _Description:
    """The description of one law with the smallest criterion; a constant where nothing is noticeable."""
    sigma, at_hz = np.hypot(std_db, MODEL_FLOOR_DB), bent_hz(frequency_hz, rate_hz)
    fits = [_fit(model, at_hz, magnitude_db, sigma, rate_hz) for model in _models()]
    span_db = float(np.ptp(magnitude_db))
    if span_db / 2 < NOTICEABLE_DB:
        return fits[0]
    return min((fit for fit in fits if fit.tells and fit.most_db <= 2 * span_db), key=lambda fit: fit.aicc)


def _runs_on(part: ResponsePart, frequency_hz: Array) -> bool:
    return part.side == "high" and (part.gain_db is None or part.shown(frequency_hz) < REACHED)


def _over_both(parts: tuple[ResponsePart, ...], beside: tuple[ResponsePart, ...]) -> tuple[ResponsePart, ...]:
    """Parts with intervals that reach over those of another law's treble."""
    treble = next((part for part in beside if part.side == "high"), None)

    def wider(part: ResponsePart) -> ResponsePart:
        if treble is None or (part.side, part.kind) != (treble.side, treble.kind):
            return part
        gain = None if part.gain_db is None or treble.gain_db is None else part.gain_db.over(treble.gain_db)
        return replace(part, gain_db=gain, corner_hz=part.corner_hz.over(treble.corner_hz))

    return tuple(map(wider, parts))


@dataclass(frozen=True)
class _Element:
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
class _Model:
    elements: tuple[_Element, ...]
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


def _models() -> list[_Model]:
    def ends(side: Side) -> list[tuple[_Element, ...]]:
        kinds: tuple[PartKind, ...] = ("cut", "shelf")
        return [(), *((_Element(side, kind, order),) for kind, order in product(kinds, (1, 2)))]

    pairs = [_Model(low + high, False) for low, high in product(ends("low"), ends("high"))]
    return [pairs[0], _Model((), True), *pairs[1:]]


@dataclass(frozen=True)
class _Description:
    model: _Model
    fitted: Fitted
    widen: float  # of the covariance, where the residual exceeds what the weights allow
    residual_db: Array
    aicc: float
    rate_hz: float

    def left(self, noise_db: Array) -> float:
        """Mean square of what is left over that of noise."""
        return float(np.mean((self.residual_db / noise_db) ** 2))

    @property
    def tells(self) -> bool:
        """Whether every part is placed, inside its range, and every shelf and tilt noticeable."""
        placed = [
            part.corner_hz.high / part.corner_hz.value < 0.99 * math.exp(WIDEST_LOG) for part in self.parts()
        ]
        gains = [abs(part.gain_db.value) for part in self.parts() if part.gain_db is not None]
        if self.model.tilted and abs(self.fitted.values[1]) < max(NOTICEABLE_DB, TILTED * self._std(1)):
            return False
        return not self.fitted.at_bound and all(placed) and all(gain >= NOTICEABLE_DB for gain in gains)

    @property
    def most_db(self) -> float:
        """Largest gain of a shelf: parts that undo each other within the band tell nothing."""
        return max(
            (abs(part.gain_db.value) for part in self.parts() if part.gain_db is not None), default=0.0
        )

    def gain(self) -> Quantity:
        return Quantity.from_std(self.fitted.values[0], self._std(0), "dB")

    def _std(self, unknown: int) -> float:
        return math.sqrt(max(0.0, self.fitted.covariance[unknown, unknown] * self.widen))

    def parts(self) -> tuple[ResponsePart, ...]:
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


def _fit(
    model: _Model, frequency_hz: Array, magnitude_db: Array, sigma: Array, rate_hz: float
) -> _Description:
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
    return _Description(model, fitted, widen, residual, aicc(fitted.chi2, points=n, unknowns=k), rate_hz)


def _corner_start(
    element: _Element, frequency_hz: Array, shape_db: Array, end_db: float
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


def _tilt(frequency_hz: Array, magnitude_db: Array, std_db: Array, moved_db: float) -> Quantity:
    inside = (frequency_hz >= TILT_FROM_HZ * 0.999) & (frequency_hz <= TILT_TO_HZ * 1.001)
    x = np.log10(frequency_hz[inside])
    x = x - x.mean()
    weight = x / float(x @ x)
    slope = float(weight @ magnitude_db[inside])
    noise = float(np.sqrt(weight**2 @ std_db[inside] ** 2))
    return Quantity.from_std(slope, math.hypot(noise, moved_db * float(weight[x > 0].sum())), "dB/decade")


def _corner(
    parts: tuple[ResponsePart, ...], frequency_hz: Array, magnitude_db: Array, std_db: Array, *, side: Side
) -> Reading:
    """Corner of a trusted filter on that side and in the band, else the crossing itself."""
    for part in parts:
        inside = frequency_hz[0] <= part.corner_hz.value <= frequency_hz[-1]
        if part.side == side and part.kind == "cut" and inside:
            return part.corner_hz
    return half_power_corner(frequency_hz, magnitude_db, std_db, side=side)


def _sentence(
    parts: tuple[ResponsePart, ...],
    running_on: tuple[ResponsePart, ...],
    tilt: Quantity | None,
    magnitude_db: Array,
    frequency_hz: Array,
    worst_db: float,
) -> str:
    span = f"{_hz(float(frequency_hz[0]))} to {_hz(float(frequency_hz[-1]))}"
    if tilt is not None:
        return f"tilt of {signed_text(tilt.value, 2)} dB per decade, {span} (within {worst_db:.2f} dB)"
    if not parts:
        return f"flat within ±{max(np.ptp(magnitude_db) / 2, 0.005):.2f} dB, {span}"
    band = float(frequency_hz[0]), float(frequency_hz[-1])
    words = ", ".join(_part_words(part, *band, shown=part not in running_on) for part in parts)
    if worst_db >= FOLLOWS_DB:
        return f"no simple shape; nearest: {words}, up to {worst_db:.1f} dB off ({span})"
    return f"{words} (within {max(worst_db, 0.01):.2f} dB, {span})"


def _part_words(part: ResponsePart, first_hz: float, last_hz: float, *, shown: bool) -> str:
    order = "first" if part.order == 1 else "second"
    edge = first_hz if part.side == "low" else last_hz
    corner = _hz(part.corner_hz.value)
    if part.gain_db is None:
        name = "high-pass" if part.side == "low" else "low-pass"
        if first_hz <= part.corner_hz.value <= last_hz:
            return f"{order}-order {name}, -3 dB at {corner}"
        there = signed_text(part.curve_db(edge), 2)
        return f"{order}-order {name} beyond the band, {there} dB at {_hz(edge)}"
    end, where = ("bass", "below") if part.side == "low" else ("treble", "above")
    if not shown:
        way = "rising" if part.gain_db.value > 0 else "falling"
        return f"{end} {way} by {abs(part.curve_db(edge)):.2f} dB up to the band's end at {_hz(edge)}"
    return f"{order}-order {end} shelf, {signed_text(part.gain_db.value, 2)} dB {where} {corner}"


def _hz(frequency_hz: float) -> str:
    return f"{frequency_hz / 1000:.3g} kHz" if frequency_hz >= 1000 else f"{frequency_hz:.3g} Hz"
