"""Whether the path itself keeps its gain: what the bypass shows of automatic gain, steps and drift."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.gain_drift import GainDrift, gain_drift
from charprobe.estimators.noise import Line
from charprobe.estimators.static.curve import FLOOR_DB
from charprobe.measuring.health.file.sample_facts import FINEST_BITS, gather_sample_facts
from charprobe.measuring.health.pauses.foreign_tones import foreign_lines
from charprobe.measuring.health.pauses.quiet import quiet_spectrum
from charprobe.placing.take import BY_TONE, Take, once
from charprobe.placing.tone_course import course_of
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.quantity import DB_PER_NEPER
from charprobe.values.wording import clock_text, number_text, signed_text

WITHHELD = ("static", "attack", "release", "colour", "response", "noise", "detector")
SETTLED_FROM = 0.4  # share of a tone that is left to settle
LEAST_S, BEFORE_END_S = 0.05, 0.01  # that is read, and that is left out
TOP_DB = 12.0  # tones this close to full scale may be bent by the path without any automatic gain
MOST_STD_DB = 0.03  # of a level that is used
LEAST_STEPS = 20  # of the words in use that a tone reaches: rounding bends smaller ones by more than that
LEAST_DB = 0.02  # of change that is told
AUTOMATIC_DB = 0.3  # of change, not explained by a step or drift, that is an automatic gain
EXPLAINED = 0.9  # share of what changed, beyond noise, that a step or a drift must explain
FEWEST = 8
LEAST_UNEVEN_DB, SURE = 0.01, 5.0  # clean paths show 0.004 dB, and less than their noise and `FLOOR_DB`
BEAT_HZ, BEAT_DB = 25.0, 46.0  # a line so near and so loud moves the level of a short tone by 0.04 dB


@dataclass(frozen=True)
class ToneGain:
    """Gain of a take at one tone, when it sounded, and the gain's standard uncertainty."""

    time_s: float
    frequency_hz: float
    level_dbfs: float
    gain_db: float
    std_db: float


@once
def check_steady_gain(bypass: Take) -> list[Health]:
    """Judge the gain of a bypass over time: codes ``automatic-gain``, ``gain-step`` and ``level-drift``.

    Nothing in a bypass may change the gain, so every tone of one frequency must come back equally. One step
    that explains nine tenths of what changes is a knob that was moved, an even drift is warming up, and
    anything else follows the sound. The loudest tones are left out: a path may bend them. Levels are
    used whose standard uncertainty is below 0.03 dB and which no foreign tone beats with, and changes told
    that stand out of them, from 0.02 dB.
    """
    gains = steady_gains(bypass)
    if len(gains) < FEWEST:
        return []
    time_s, gain_db, std_db = np.array([(g.time_s, g.gain_db, g.std_db) for g in gains]).T
    _, group = np.unique([g.frequency_hz for g in gains], return_inverse=True)
    drift = gain_drift(time_s, gain_db, std_db=np.hypot(std_db, FLOOR_DB), group=group.astype(float))
    if drift.explained > EXPLAINED and abs(drift.size_db) >= LEAST_DB:
        return [_step(bypass, drift) if drift.kind == "step" else _drift(bypass, drift.size_db)]
    middles = np.bincount(group, gain_db) / np.bincount(group)
    spread = float(np.ptp(gain_db - middles[group]))
    return [gain_follows(bypass, f"follows the sound by {spread:.1f} dB")] if spread > AUTOMATIC_DB else []


@once
def check_uneven_gain(bypass: Take) -> list[Health]:
    """Judge how much the tones of a bypass differ in gain beyond their noise, neither stepping nor drifting.

    Codes ``clipped-below-full-scale`` where levels played again differ alike: an uneven converter; else
    ``level-drift``: a contact.
    """
    gains = steady_gains(bypass)
    worst: tuple[float, bool] = (LEAST_UNEVEN_DB, False)
    for frequency_hz in {gain.frequency_hz for gain in gains}:
        same = [gain for gain in gains if gain.frequency_hz == frequency_hz]
        gain_db, var, level = np.array([(g.gain_db, g.std_db**2 + FLOOR_DB**2, g.level_dbfs) for g in same]).T
        off_db = gain_db - np.average(gain_db, weights=1 / var)
        uneven_db = float(np.sqrt(np.mean(off_db**2)))
        if len(same) < FEWEST or np.mean(off_db**2 / var) < SURE**2 or uneven_db < worst[0]:
            continue
        _, at = np.unique(np.round(level, 3), return_inverse=True)
        within_db = off_db - (np.bincount(at, off_db) / np.bincount(at))[at]
        again = (np.bincount(at) > 1)[at]
        worst = uneven_db, bool(again.any() and np.mean(within_db[again] ** 2) < (uneven_db / 3) ** 2)
    uneven_db, by_level = worst
    if uneven_db <= LEAST_UNEVEN_DB:
        return []
    how = (
        "by their level alone: a converter whose codes are uneven, or that is driven wrongly"
        if by_level
        else "and not by their level: a worn contact or control, or a supply that breathes"
    )
    message = (
        f"With the stage off the gain of tones of one frequency differs by {number_text(uneven_db, 3)} dB "
        f"RMS ({bypass.label}), {how}. Levels, times and harmonics carry it. Try another input, cable and "
        f"supply, and retake. {ALL_GIVEN}"
    )
    return [
        Health("clipped-below-full-scale" if by_level else "level-drift", "warn", message, bypass.channel)
    ]


@once
def steady_gains(take: Take) -> list[ToneGain]:
    """Gains of the settled parts of all tones that neither a path's own bend nor a foreign tone moves."""
    spectrum = quiet_spectrum(take)
    lines = () if spectrum is None else foreign_lines(spectrum)
    out = []
    for segment in take.stimulus.segments:
        if segment.spec.kind in (*BY_TONE, "silence") and take.holds(segment):
            for tone in take.intact(segment).tones:
                if tone.level_dbfs > -TOP_DB or beats_with(tone, lines, take.alignment.gain_db):
                    continue
                if (gain := tone_gain(take, tone)) is not None:
                    out.append(gain)
    return out


def beats_with(tone: Tone, lines: tuple[Line, ...], gain_db: float) -> bool:
    """Whether a foreign tone stands too near a tone, and too loud, for its level to be read."""
    return any(
        abs(line.frequency_hz - tone.frequency_hz) < BEAT_HZ
        and line.level_dbfs > tone.level_dbfs + gain_db - BEAT_DB
        for line in lines
    )


@once
def tone_gain(take: Take, tone: Tone) -> ToneGain | None:
    """Gain of one tone's settled part; None where it is short, noisy or coarse."""
    rate_hz = take.stimulus.rate_hz
    begin, end = tone.start + SETTLED_FROM * tone.length, tone.stop - BEFORE_END_S * rate_hz
    course = course_of(take, tone)
    found = None if course is None or end - begin < LEAST_S * rate_hz - 1 else course.fit(begin, end)
    if found is None:
        return None
    size, std_db = abs(found.wave), found.level_std_db
    bits = take.source.once(gather_sample_facts)[take.channel].bits_used or FINEST_BITS
    if not std_db <= MOST_STD_DB or size < LEAST_STEPS * 2.0 ** (1 - bits):
        return None
    gain_db = DB_PER_NEPER * math.log(size) - tone.level_dbfs
    return ToneGain(take.capture_time_s(tone.start), tone.frequency_hz, tone.level_dbfs, gain_db, std_db)


def _step(take: Take, drift: GainDrift) -> Health:
    before, after = clock_text(drift.before_s), clock_text(drift.after_s)
    message = (
        f"Gain steps {signed_text(drift.size_db, 2)} dB between {before} and {after} ({take.label}): "
        "a knob was moved, or a pad switched. What lies before and after does not compare; "
        f"retake. {ALL_GIVEN}"
    )
    return Health("gain-step", "warn", message, take.channel, drift.before_s, drift.after_s)


def _drift(take: Take, size: float) -> Health:
    message = (
        f"Level drifts {signed_text(size, 2)} dB from first to last tone ({take.label}): gear still "
        f"warming up, or a sagging supply. Wait until it has settled and retake. {ALL_GIVEN}"
    )
    return Health("level-drift", "warn", message, channel=take.channel)


def gain_follows(take: Take, what: str) -> Health:
    """Say that the gain of a path follows the sound, and how: code ``automatic-gain``."""
    message = (
        f"With the stage off the gain {what} ({take.label}): a limiter, a compander or an automatic gain is "
        "in the recording path. Turn it off, or lower the level; retake. Nothing of level or time is given"
    )
    return Health("automatic-gain", "stop", message, channel=take.channel, withholds=WITHHELD)
