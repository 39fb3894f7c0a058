"""Colour: ripple, distortion and onset against the tones, and the tones against the level steps."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

import numpy as np

from charprobe.measuring.consistency.readings import SIGMAS, Contradiction, Readings
from charprobe.values.wording import number_text

CLOSE_DB = 1.0  # of a harmonic
SHARE_POINTS = 10.0  # percent by which a share may miss what is expected
TONE_DB = 0.3  # by which the gain of a tone may miss what the steps beside it allow
REFERENCE_DBFS, BESIDE_DB = -10.0, 3.0
THRESHOLDS = ("static.threshold", "static.threshold_1db")


def ripple_of_times(read: Readings) -> Iterator[Contradiction]:
    """Deny a share of ripple that the ripple expected from attack and release does not allow."""
    share, expected = read.number("colour.ripple_share"), read.number("colour.ripple_expected")
    if share is None or expected is None:
        return
    row = np.flatnonzero(read.column("colour_and_ripple", "expected_dbc") == expected.value)
    third = read.column("colour_and_ripple", "h3_dbc")[row]
    if not row.size or not math.isfinite(third[0]):
        return
    least, most = (
        100 * 10 ** ((end - third[0]) / 20) for end in (expected.low - CLOSE_DB, expected.high + CLOSE_DB)
    )
    if share.low > most or share.high < min(least, 100.0) - SHARE_POINTS:
        yield Contradiction(
            ("colour.ripple_share",),
            f"Over frequency the third harmonic looks like {share.value:.0f} % ripple; attack and release "
            f"let expect {number_text(expected.value, 1)} dBc of ripple, and {number_text(third[0], 1)} dBc "
            "was measured",
        )


def distortion_of_tones(read: Readings) -> Iterator[Contradiction]:
    """Deny a level up to which distortion stays low, or no colour is found, that a quieter tone exceeds."""
    frequency, level, thd = (
        read.column("harmonics", name) for name in ("frequency_hz", "input_dbfs", "thd_dbc")
    )
    if not frequency.size:
        return
    main = frequency == frequency[np.argmin(np.abs(np.log(frequency / 1000)))]
    for name, target in (("minus60db", -60.0), ("minus40db", -40.0)):
        full = f"colour.input_at_thd_{name}"
        bound = read.bound(full)
        loud = main & (thd > target) & (level <= (-math.inf if bound is None else bound))
        if loud.any():
            yield Contradiction(
                (full,),
                f"A tone at {number_text(float(level[loud].min()), 1)} dBFS has more than "
                f"{number_text(target, 0)} dB of distortion, though it is said to stay below up to "
                f"{number_text(bound or 0.0, 1)} dBFS",
            )
    bound = read.bound("colour.onset")
    found = np.array([cell == "colour" for cell in read.curves["harmonics"].columns["origin"]])
    if bound is not None and np.any(main & found & (level <= bound)):
        yield Contradiction(
            ("colour.onset",),
            f"Tones below {number_text(bound, 1)} dBFS show colour, though none is said to be",
        )


def gain_of_tones(read: Readings) -> Iterator[Contradiction]:
    """Deny harmonics of a reference tone that came through another gain than the level steps show there."""
    frequency, level, out, std = (
        read.column("harmonics", name)
        for name in ("frequency_hz", "input_dbfs", "fundamental_dbfs", "fundamental_std_db")
    )
    at, gain, spread = read.steps()
    if not at.size:
        return
    steps_hz = float(read.column("static", "frequency_hz")[0])
    tones = np.flatnonzero((np.abs(frequency / steps_hz - 1) < 0.02) & np.isfinite(out))
    if not tones.size:
        return
    tone = tones[np.argmin(np.abs(level[tones] - REFERENCE_DBFS))]
    if np.abs(at - level[tone]).min() > BESIDE_DB:
        return
    own, steps = float(out[tone] - level[tone]), float(np.interp(level[tone], at, gain))
    above = int(np.clip(np.searchsorted(at, level[tone]), 1, at.size - 1))
    beside = gain[above - 1 : above + 1]  # a corner may lie anywhere between them
    miss_db = max(beside.min() - own, own - beside.max())
    if miss_db > TONE_DB + SIGMAS * math.hypot(float(std[tone]), float(spread.max())):
        names = [name for name in read.published if re.fullmatch(r"colour\.\w+_at_reference", name)]
        begins = float(level[tone]) + own - steps  # at the latest: no straight part falls as the level rises
        late = [name for name in THRESHOLDS if (bound := read.bound(name)) is not None and bound > begins]
        yield Contradiction(
            (*names, "colour.even_odd_balance", "colour.ripple_share", *late),
            f"The reference tone came through {number_text(own, 2)} dB, the level steps show "
            f"{number_text(steps, 2)} dB there: one of both had not settled",
        )
