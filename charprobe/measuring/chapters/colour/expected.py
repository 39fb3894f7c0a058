"""Ripple that the measured attack and release let expect, beside the harmonics that were measured."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.colour.expected_ripple import (
    ChangeTimes,
    Detector,
    Motion,
    Steady,
    likely_detectors,
)
from charprobe.estimators.colour.level_rung import LevelRung
from charprobe.estimators.colour.origin import CLOSE_DB
from charprobe.estimators.timing.release_kind import waited_s
from charprobe.measuring.chapters.lookup import Reduction
from charprobe.profile.entry import Cell, Chapter
from charprobe.values.quantity import Z95, Quantity, Reading, Unmeasured
from charprobe.values.wording import number_text

UNIT = "dBc"
RECIPE = "standard"
TRUST = 0.02  # relative: how far a detector of the family is trusted to be the stage's
SHOWN_DBC = -130.0  # ripple below is none


@dataclass(frozen=True)
class ExpectedRipple:
    """Detectors that have the measured times; why there are none, if there are none."""

    detectors: tuple[Detector, ...]
    release_std: float
    missing: Unmeasured | None

    def third(self, rung: LevelRung, static: Reduction | None) -> Reading:
        """Third harmonic in dBc that ripple must make at one tone; the interval covers every detector."""
        if self.missing is not None:
            return self.missing
        slope, reduced_db = slope_at(static, rung.input_dbfs), rung.reduction_db
        if slope is None or reduced_db is None or reduced_db <= 0 or slope <= 0:
            return Unmeasured(UNIT, "the static curve does not reach this tone", "a recipe with level_steps")
        tone = Steady(rung.cell.tone.frequency_hz, reduced_db, slope)
        ratios = [float(detector.third_harmonics([tone])[0]) for detector in self.detectors]
        if max(ratios) < 10 ** (SHOWN_DBC / 20):
            reason = "a gain that moves like this one has no ripple"
            return Unmeasured(UNIT, reason, "none needed", at_most=SHOWN_DBC)
        spread = 1 + Z95 * math.hypot(TRUST, self.release_std)
        low, high = min(ratios) / spread, max(ratios) * spread
        return Quantity(_db(ratios[0]), _db(low), _db(high), UNIT)


def expected_ripple(timing: Chapter, static: Reduction | None) -> ExpectedRipple:
    """Find the detectors that have the attack and release of a timing chapter."""
    motion, std = _motion(timing, static)
    if isinstance(motion, Unmeasured):
        return ExpectedRipple((), 0.0, motion)
    detectors = likely_detectors(motion)
    if detectors:
        return ExpectedRipple(detectors, std, None)
    reason = "no plain detector with one attack and one release has the times measured"
    return ExpectedRipple(
        (), std, Unmeasured(UNIT, reason, "none needed; the share of ripple stands without it")
    )


def slope_at(static: Reduction | None, input_dbfs: float) -> float | None:
    """Slope of the settled reduction at a level, in dB per dB."""
    if static is None:
        return None
    below, above = (static.reduction_db_at(input_dbfs + aside) for aside in (-0.5, 0.5))
    return None if below is None or above is None else above - below


def beside_share(expected: Reading, share: Reading) -> Reading:
    """Expect nothing where times tell of no ripple and yet a share of the harmonics goes as ripple does."""
    bounded = isinstance(expected, Unmeasured) and expected.at_most is not None
    if not (bounded and isinstance(share, Quantity) and share.low > 0):
        return expected
    reason = "its times are those of a gain without ripple, its harmonics those of one that ripples"
    return Unmeasured(UNIT, reason, "none needed; the share of ripple stands without it")


def expected_words(expected: Reading, rung: LevelRung, at: str) -> str | None:
    """Say how the third harmonic at one tone compares with the expected ripple; None without either."""
    if not isinstance(expected, Quantity):
        if expected.at_most is None or rung.origin != "colour" or not rung.shows(3):
            return None
        return f"The gain moves like one without ripple: the third harmonic at {at} is colour."
    lead = f"A detector with this attack and release makes {_range(expected)} of third harmonic at {at}"
    measured = rung.cell.level(3)
    if isinstance(measured, Unmeasured):
        bound = measured.at_most
        if bound is None or bound > expected.low - CLOSE_DB:
            return None
        return (
            f"{lead}; none above {number_text(bound, 1)} dBc was found: the detector is smoother than that."
        )
    found = number_text(measured.value, 1)
    if measured.value > expected.high + CLOSE_DB:
        other = "colour, or ripple of a gain that lets go faster at first than its times tell"
        rest = "the rest is colour" if rung.origin == "colour" else other
        return f"{lead}; {found} dBc was measured: {rest}."
    if measured.value < expected.low - CLOSE_DB:
        return f"{lead}; {found} dBc was measured: the detector is smoother than that."
    return f"{lead}; {found} dBc was measured: ripple explains it."


def _range(expected: Quantity) -> str:
    low, high = number_text(expected.low, 1), number_text(expected.high, 1)
    if expected.high - expected.low <= 2 * CLOSE_DB:
        return f"{number_text(expected.value, 1)} dBc"
    return f"at most {high} dBc" if expected.low <= SHOWN_DBC else f"{low} to {high} dBc"


def expected_columns(
    expected: ExpectedRipple | None, static: Reduction | None, rungs: Sequence[LevelRung]
) -> dict[str, list[Cell]]:
    """Columns of expected ripple, one row per rung: value, low, high."""
    readings = [None if expected is None else expected.third(rung, static) for rung in rungs]
    known = [reading if isinstance(reading, Quantity) else None for reading in readings]
    return {
        "expected_dbc": [None if q is None else q.value for q in known],
        "expected_low_dbc": [None if q is None else q.low for q in known],
        "expected_high_dbc": [None if q is None else q.high for q in known],
    }


def _motion(timing: Chapter, static: Reduction | None) -> tuple[Motion | Unmeasured, float]:
    """What the timing chapter says of the gain's movement, and the relative uncertainty of its release."""
    read = {name: entry.reading for name, entry in timing.quantities.items()}
    release, attack = read["release.t63"], read["attack.t63"]
    if not isinstance(release, Quantity):
        return Unmeasured(UNIT, f"the release is not known: {release.reason}", release.next), 0.0
    if isinstance(read["attack.lookahead"], Quantity):
        reason = "the gain is moved ahead of the sound, which smooths its ripple in a way that is not known"
        return Unmeasured(UNIT, reason, "none needed; the share of ripple stands without it"), 0.0
    if isinstance(attack, Quantity):
        rise = ChangeTimes(*(_value(read[f"attack.{name}"]) for name in ("t50", "t63", "t90")))
    elif attack.at_most is not None:
        rise = ChangeTimes(math.nan, attack.at_most, math.nan)
    else:
        return Unmeasured(UNIT, f"the attack is not known: {attack.reason}", attack.next), 0.0
    columns = timing.curves["timing"].columns
    times = columns["attack_t63_s"], columns["release_t63_s"]
    row = next(
        i
        for i, (up, down) in enumerate(zip(*times, strict=True))
        if down == release.value and (up is None or up == _value(attack))
    )
    step_from, step_to, reduced = (columns[name][row] for name in ("from_dbfs", "to_dbfs", "reduction_db"))
    assert isinstance(step_from, float) and isinstance(step_to, float)
    slope = slope_at(static, step_to)
    if slope is None or slope <= 0 or not isinstance(reduced, float) or reduced <= 0:
        reason = "the static curve does not tell the slope at the bursts' high level"
        return Unmeasured(UNIT, reason, f"the recipe {RECIPE}"), 0.0
    hold, stages, tau_1 = (read[f"release.{name}"] for name in ("hold", "stages", "tau_1"))
    hold_s = waited_s(hold, t63=release, stages=stages, tau_1=tau_1)
    fall = _fall(read, release, hold_s)
    motion = Motion(rise, fall, hold_s, step_to - step_from, reduced, slope)
    return motion, release.std / release.value


def _fall(read: dict[str, Reading], release: Quantity, hold_s: float) -> ChangeTimes:
    """Times of the release; of a two-stage one, the single stage that begins as fast."""
    first, second, share = (read[f"release.{name}"] for name in ("tau_1", "tau_2", "tau_1_share"))
    if isinstance(first, Quantity) and isinstance(second, Quantity) and isinstance(share, Quantity):
        part = share.value / 100
        return ChangeTimes(math.nan, 1 / (part / first.value + (1 - part) / second.value), math.nan)
    times = np.array([_value(read[f"release.{name}"]) for name in ("t50", "t63", "t90")]) - hold_s
    return ChangeTimes(*(float(time) for time in times))


def _value(reading: Reading) -> float:
    return reading.value if isinstance(reading, Quantity) else math.nan


def _db(ratio: float) -> float:
    return max(20 * math.log10(max(ratio, 1e-12)), SHOWN_DBC)
