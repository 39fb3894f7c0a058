"""The simplest description of a magnitude response: flat, tilted, filtered or shelved."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from charprobe.estimators.half_power import Side, half_power_corner
from charprobe.estimators.response_fit import ResponseFit, ResponsePart, simplest_fit
from charprobe.values.arrays import Array
from charprobe.values.quantity import Z95, Quantity, Reading, Unmeasured
from charprobe.values.wording import signed_text

TILT_FROM_HZ, TILT_TO_HZ, TILT_POINTS = 100.0, 10_000.0, 1000
SURE = 2.0  # standard uncertainties by which halves of the points may differ by noise alone
FEWEST_POINTS = 24  # two octaves of the usual spacing
FOLLOWS_DB = 0.3  # a description farther off than this is named as the nearest, not as what the stage does
TOLD_DB = 0.1  # an interval this wide at any point is told beside the description
ALIKE = 2.0  # times the least mean square that a law leaves: the other follows too
REACHED = 0.98  # share of a treble shelf's gain from which on no law beyond the band matters
SHOWN = 0.8  # share of a shelf's gain that must lie within the band, or else ...
FOLLOWED = 2.0  # ... its fit must leave no more than noise: this mean square over that of noise and ...
EXACT_DB = 0.003  # ... what the worst point of a known response was found off by (docs/accuracy/colour.md)


@dataclass(frozen=True)
class ResponseShape:
    """What a magnitude response amounts to.

    Attributes
    ----------
    parts : tuple of ResponsePart
        Low end first; empty for a flat or merely tilted response, and where no description follows the curve.
    tilt_db_per_decade : Quantity or Unmeasured
        Least-squares slope, 100 Hz to 10 kHz, uniform in log frequency; measured where points span that.
    low_corner_hz, high_corner_hz : Quantity or Unmeasured
        Where the magnitude is 3 dB below mid-band: the corner of the filter that describes that end, or else
        the crossing of 3 dB below the magnitude at 1 kHz; or the bound it lies beyond.
    sentence : str
        The description in words.
    """

    parts: tuple[ResponsePart, ...]
    tilt_db_per_decade: Reading
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
    Candidates are a constant, a tilt, and every pair of a low-end part (none, high-pass of order 1 to 4 or
    shelf of order 1 or 2) and a high-end part (the same with low-passes), all of them Butterworth shaped.
    Each is fitted by weighted least squares, the weight's floor being 0.01 dB, and the smallest corrected
    Akaike criterion wins. Intervals come from the fit's covariance, widened when the residual exceeds what
    the weights allow. A shelf of which the band shows less than `SHOWN` is told by what it comes to at the
    band's end alone, unless its fit leaves nothing but noise: what it reaches farther out is the model's
    word, which a curve of another kind does not keep. So is what a treble shelf reaches beyond the band: a
    digital one comes to its gain at half the sampling rate, an analogue one nowhere. The law that leaves
    clearly less is taken; where both follow, intervals reach over both. So it is with low-passes.
    """
    noise = np.hypot(std_db, EXACT_DB)
    chosen = simplest_fit(frequency_hz, magnitude_db, std_db, math.inf)
    parts = chosen.parts()
    if math.isfinite(rate_hz) and any(_runs_on(part, frequency_hz) for part in parts):
        other = simplest_fit(frequency_hz, magnitude_db, std_db, rate_hz)
        chosen, beside = sorted((chosen, other), key=lambda one: one.left(noise))
        both = beside.left(noise) < ALIKE * chosen.left(noise)
        parts = _over_both(chosen.parts(), beside.parts()) if both else chosen.parts()
    worst = float(np.max(np.abs(chosen.residual_db)))
    followed = chosen.left(noise) < FOLLOWED
    least = 0.0 if followed else SHOWN
    running_on = tuple(part for part in parts if part.may_be_none or part.shown(frequency_hz) < least)
    trusted = tuple(part for part in parts if part not in running_on) if worst < FOLLOWS_DB else ()
    known = trusted if followed else ()
    low, high = (_corner(known, frequency_hz, magnitude_db, std_db, side=side) for side in ("low", "high"))
    tilt = _tilt(chosen, frequency_hz, std_db, moved_db)
    told_tilt = tilt if chosen.model.tilted and isinstance(tilt, Quantity) else None
    sentence = _sentence(parts, running_on, told_tilt, magnitude_db, frequency_hz, worst)
    unsure_db = Z95 * float(np.max(std_db))
    if unsure_db > TOLD_DB:
        sentence += f"; points of it are known to ±{unsure_db:.1f} dB at worst"
    return ResponseShape(trusted, tilt, low, high, sentence)


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


def _tilt(chosen: ResponseFit, frequency_hz: Array, std_db: Array, moved_db: float) -> Reading:
    """Tilt of the description, which bends between points, and of what it leaves, which hardly does.

    How far each half of the points leads elsewhere tells what may hide between them.
    """
    if frequency_hz[0] > TILT_FROM_HZ or frequency_hz[-1] < TILT_TO_HZ:
        first, last = (_hz(float(frequency_hz[end])) for end in (0, -1))
        part = f"the response is known from {first} to {last} alone"
        return Unmeasured("dB/decade", part, "a sweep over the whole band whose gain rests")
    decades = math.log10(TILT_TO_HZ / TILT_FROM_HZ)
    x = math.log10(TILT_FROM_HZ) + decades * (np.arange(TILT_POINTS) + 0.5) / TILT_POINTS
    along = (x - x.mean()) / float(np.sum((x - x.mean()) ** 2))
    known_at = np.log10(frequency_hz)
    weight = np.array([along @ np.interp(x, known_at, one) for one in np.eye(frequency_hz.size)])
    left = chosen.residual_db
    whole = float(weight @ left)
    slope = float(along @ chosen.curve_db(10**x)) + whole
    noise, moved = float(np.sqrt(weight**2 @ std_db**2)), moved_db * float(along[along > 0].sum())
    halves = (along @ np.interp(x, known_at[half::2], left[half::2]) for half in (0, 1))
    apart = max(abs(float(each) - whole) for each in halves)
    hidden = math.sqrt(max(0.0, apart**2 - (SURE * noise) ** 2))
    return Quantity.from_std(slope, math.hypot(noise, moved, hidden), "dB/decade")


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
    order = ("first", "second", "third", "fourth")[part.order - 1]
    edge = first_hz if part.side == "low" else last_hz
    corner = _hz(part.corner_hz.value)
    if part.gain_db is None:
        name = "high-pass" if part.side == "low" else "low-pass"
        if first_hz <= part.corner_hz.value <= last_hz:
            return f"{order}-order {name}, −3 dB at {corner}"
        there = signed_text(part.curve_db(edge), 2)
        return f"{order}-order {name} beyond the band, {there} dB at {_hz(edge)}"
    end, where = ("bass", "below") if part.side == "low" else ("treble", "above")
    if not shown:
        way = "rising" if part.gain_db.value > 0 else "falling"
        return f"{end} {way} by {abs(part.curve_db(edge)):.2f} dB up to the band's end at {_hz(edge)}"
    return f"{order}-order {end} shelf, {signed_text(part.gain_db.value, 2)} dB {where} {corner}"


def _hz(frequency_hz: float) -> str:
    return f"{frequency_hz / 1000:.3g} kHz" if frequency_hz >= 1000 else f"{frequency_hz:.3g} Hz"
