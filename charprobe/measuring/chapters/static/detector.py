"""The detector: which mean of the waveform it answers to, and whether bass is kept from it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.detector_law import (
    FLOOR_DB,
    HOLDS_DB,
    Equivalent,
    PlayedWaveform,
    fit_exponent,
    measure_waveforms,
)
from charprobe.estimators.static.curve import StaticCurve
from charprobe.estimators.static.readings import read_static_curve
from charprobe.measuring.chapters.lookup import absent, counterpart
from charprobe.placing.take import Take, held
from charprobe.profile.entry import Cell, Chapter, Entry, Published, Table, unmeasured
from charprobe.stimulus.kinds.equal_peak import EqualPeak
from charprobe.stimulus.kinds.segment import SegmentOf
from charprobe.stimulus.kinds.waveforms import PER_FUNDAMENTAL, SINE, Waveform
from charprobe.values.errors import SegmentTooShortError
from charprobe.values.quantity import Z95, Quantity, Reading, Unmeasured

NAMES = ("detector.exponent",)
RECIPE = "full"
LEAST_DB = 0.5  # reduction from which a waveform is placed on the static curve
SHIFT_FLOOR_DB = 0.1  # ripple of a detector at low frequencies moves a threshold by about this
LOW_CUT_UNIT, LOW_CUT_ORDERS = "Hz", np.array([1, 2])
LAWS = (
    (0.7, "something below the average"),
    (1.35, "average"),
    (3.0, "RMS"),
    (6.0, "something between the RMS and the peak"),
)


@dataclass(frozen=True)
class AtFrequency:
    """A static curve and the frequency of its tone."""

    frequency_hz: float
    curve: StaticCurve


def detector_chapter(
    wet: Take, bypass: Take | None, curve: StaticCurve, curves: Sequence[AtFrequency]
) -> Chapter:
    """Read the detector's law from waveforms of equal peak, and its low cut from static curves.

    Parameters
    ----------
    wet, bypass : Take
        Captures of the setting and, if there is one, of the bypass.
    curve : StaticCurve
        The setting's static curve near 1 kHz.
    curves : sequence of AtFrequency
        Static curves at all frequencies, that one included.
    """
    corner = low_cut_of(curves)
    low_cut = Entry(corner, _frequencies(curves) + "; low cut of first or second order")
    segments = held(wet, EqualPeak)
    if not segments:
        entries = absent(wet, EqualPeak, NAMES, recipe=RECIPE)
        return Chapter(quantities={**entries, "detector.low_cut": low_cut}, words=_words)
    segment = segments[0]
    try:
        played = measure_waveforms(segment, wet.segment(segment))
    except SegmentTooShortError as error:
        short = unmeasured(NAMES, str(error), "a recipe with longer equal_peak waveforms")
        return Chapter(quantities={**short, "detector.low_cut": low_cut}, words=_words)
    same = counterpart(bypass, segment)
    references = {}
    if bypass is not None and same is not None:
        for mine, other in zip(played, measure_waveforms(same, bypass.segment(same)), strict=True):
            references[mine.start] = other.amplitudes
    placed = _placed(played, references, curve)
    sines = {p.played.peak_dbfs: p for p in placed if p.played.waveform is SINE}
    exponent = _exponent(placed, sines, corner, segment, curve)
    levels = ", ".join(f"{peak:g}" for peak in sorted(sines))
    conditions = f"waveforms on {played[0].waveform.name} and others at peaks {levels} dBFS of a sine"
    conditions = conditions.replace("-", "−") if sines else "equal_peak segment"
    return Chapter(
        quantities={"detector.exponent": Entry(exponent, conditions), "detector.low_cut": low_cut},
        curves={"detector": _table(placed)},
        words=_words,
    )


@dataclass(frozen=True)
class _OnCurve:
    """A waveform on the static curve: its reduction, and the sine level that is reduced as much."""

    played: PlayedWaveform
    reduction_db: float
    reduction_std_db: float
    level_dbfs: float
    std_db: float


def _placed(
    played: Sequence[PlayedWaveform], references: dict[int, np.ndarray], curve: StaticCurve
) -> list[_OnCurve]:
    """Place every waveform that is reduced far enough; the lowest level of each is its own zero."""
    placed = []
    for waveform in dict.fromkeys(p.waveform for p in played):
        rows = sorted((p for p in played if p.waveform is waveform), key=lambda p: p.peak_dbfs)
        quiet = rows[0]
        low_db, low_std = quiet.gain_db(references.get(quiet.start, quiet.as_played))
        for row in (row for row in rows[1:] if row.settled and quiet.settled):
            gain_db, std_db = row.gain_db(references.get(row.start, row.as_played))
            reduction = low_db - gain_db
            at = curve.level_of_reduction(reduction)
            if reduction >= LEAST_DB and isinstance(at, Quantity):
                reach = curve.reduction_db_at(at.value + 0.5), curve.reduction_db_at(at.value - 0.5)
                slope = (reach[0] or 0.0) - (reach[1] or 0.0)
                own = math.hypot(std_db, low_std)
                level_std = math.hypot(own / max(abs(slope), 0.05), at.std)
                placed.append(_OnCurve(row, reduction, own, at.value, level_std))
    return placed


def _exponent(
    placed: Sequence[_OnCurve],
    sines: dict[float, _OnCurve],
    corner: Reading,
    segment: SegmentOf[EqualPeak],
    curve: StaticCurve,
) -> Reading:
    """Read the exponent with a first-order low cut, which takes most off the waveforms, and without."""
    if isinstance(curve.low_level_gain, Unmeasured) or curve.fit is None:
        reason = "the detector is read off the static curve, and that has no model with a low-level gain"
        return Unmeasured("1", reason, "see what the static quantities ask for")
    beside = [p for p in placed if p.played.waveform is not SINE and p.played.peak_dbfs in sines]
    found = []
    for cut in (corner, None):
        sine_db = _kept_db(SINE, cut, segment)
        equivalents = []
        for p in beside:
            sine, kept_db = sines[p.played.peak_dbfs], _kept_db(p.played.waveform, cut, segment) - sine_db
            offset_db, std_db = p.level_dbfs - sine.level_dbfs - kept_db, math.hypot(p.std_db, sine.std_db)
            equivalents.append(Equivalent(p.played.waveform, offset_db, std_db))
        found.append(fit_exponent(equivalents))
    one, other = found
    if not (isinstance(one, Quantity) and isinstance(other, Quantity)):
        return one
    return Quantity(one.value, min(one.low, other.low), max(one.high, other.high), one.unit)


def _kept_db(waveform: Waveform, cut: Reading | None, segment: SegmentOf[EqualPeak]) -> float:
    """How much of the power of a waveform a first-order low cut leaves, in dB; 0 without one."""
    if not isinstance(cut, Quantity):
        return 0.0
    partials_hz = segment.spec.frequency_hz * np.array(waveform.multiples) / PER_FUNDAMENTAL
    power = waveform.amplitudes**2
    return float(10 * np.log10(power @ (1 / (1 + (cut.value / partials_hz) ** 2)) / power.sum()))


def _table(placed: Sequence[_OnCurve]) -> Table:
    columns: dict[str, list[Cell]] = {
        "waveform": [p.played.waveform.name for p in placed],
        "peak_dbfs": [p.played.peak_dbfs for p in placed],
        "reduction_db": [p.reduction_db for p in placed],
        "reduction_std_db": [math.hypot(p.reduction_std_db, FLOOR_DB) for p in placed],
        "sine_dbfs": [p.level_dbfs for p in placed],
        "std_db": [math.hypot(p.std_db, FLOOR_DB) for p in placed],
    }
    units = {"waveform": "", "peak_dbfs": "dBFS", "sine_dbfs": "dBFS"}
    return Table(columns, units | dict.fromkeys(("reduction_db", "reduction_std_db", "std_db"), "dB"))


def low_cut_of(curves: Sequence[AtFrequency]) -> Reading:
    """Find the corner of a low cut in front of the detector from the thresholds' shift.

    Parameters
    ----------
    curves : sequence of AtFrequency
        Static curves of one setting at two or more frequencies.

    Notes
    -----
    The level at which the gain is 1 dB down rises by ``10 log10(1 + (corner / f)**(2 n))`` at frequency f for
    a Butterworth low cut of order n. The interval covers both orders, which few frequencies do not tell
    apart.
    """
    unit = LOW_CUT_UNIT
    found = []
    for one in curves:
        reading = read_static_curve(one.curve).threshold_1db if one.curve.choice is not None else None
        if isinstance(reading, Quantity):
            found.append((one.frequency_hz, reading.value, math.hypot(reading.std, SHIFT_FLOOR_DB)))
    if len(curves) < 2:
        reason = "the recipe has level steps at one frequency only"
        return Unmeasured(unit, reason, f"a capture of the recipe {RECIPE}")
    if len(found) < 2:
        reason = "the gain falls by 1 dB at fewer than two of the frequencies played"
        return Unmeasured(unit, reason, "more gain before the stage, or a lower threshold")
    frequency, level, std = (np.array(column) for column in zip(*sorted(found), strict=True))
    corners = np.geomspace(1.0, 5000.0, 1200)
    shift = 10 * np.log10(1 + (corners[:, None] / frequency) ** (2 * LOW_CUT_ORDERS[:, None, None]))
    weight = std**-2
    residual = level - shift
    residual -= (residual @ weight / weight.sum())[..., None]
    misfit = np.sum(residual**2 * weight, axis=2)
    order, best = np.unravel_index(np.argmin(misfit), misfit.shape)
    off = float(np.sqrt(np.mean(residual[order, best] ** 2)))
    if off > HOLDS_DB:
        reason = (
            f"no low cut of first or second order explains the thresholds: the best misses by {off:.1f} dB"
        )
        return Unmeasured(unit, reason, "level steps at more frequencies")
    dispersion = max(1.0, float(misfit[order, best]) / max(1, len(found) - 2))
    inside = corners[np.min(misfit, axis=0) <= misfit[order, best] + Z95**2 * dispersion]
    if inside[0] <= corners[0]:
        reason = "the threshold does not rise towards low frequencies"
        return Unmeasured(unit, reason, "level steps at a lower frequency", at_most=float(inside[-1]))
    return Quantity(float(corners[best]), float(inside[0]), float(inside[-1]), unit)


def _frequencies(curves: Sequence[AtFrequency]) -> str:
    return "level steps at " + ", ".join(f"{one.frequency_hz:g} Hz" for one in curves)


def _words(published: Published) -> tuple[str, ...]:
    exponent, low_cut = (published[f"detector.{name}"].reading for name in ("exponent", "low_cut"))
    return (*_law_words(exponent), *_low_cut_words(low_cut))


def _law_words(exponent: Reading) -> tuple[str, ...]:
    if isinstance(exponent, Unmeasured):
        return ("Its detector reacts to the peak level.",) if exponent.at_least is not None else ()
    law = next((words for limit, words in LAWS if exponent.value < limit), "peak")
    if law in ("average", "RMS", "peak"):
        return (f"Its detector reacts to the {law} level.",)
    return (f"Its detector reacts to {law} level.",)


def _low_cut_words(reading: Reading) -> tuple[str, ...]:
    if isinstance(reading, Unmeasured):
        return ()
    return (f"Its detector is cut below {reading.value:.0f} Hz: bass drives it less.",)
