"""Settled tones against the sweep of their level: a gain that hears some frequencies louder follows it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.response import Response
from charprobe.measuring.chapters.late_tones import late_halves
from charprobe.placing.take import Take, held, once
from charprobe.profile.entry import Health
from charprobe.stimulus.kinds.steady import Tones
from charprobe.values.quantity import Quantity
from charprobe.values.wording import number_text, signed_text

SAME_LEVEL_DB = 0.1  # of a tone and a sweep
OFF_DB, SURE = 0.02, 5.0  # by which a tone must miss the response, and standard uncertainties on top
MOVES_DB = 0.01  # by which the halves of a settled tone differ at most


@dataclass(frozen=True)
class OffTone:
    """The steady tone that the response misses most: its frequency, its gain and that of the sweep there."""

    frequency_hz: float
    gain_db: float
    swept_db: float

    @property
    def by_db(self) -> float:
        """By how much."""
        return abs(self.gain_db - self.swept_db)

    def told(self, take: Take, drive_dbfs: float) -> Health:
        """Tell a gain that follows the sweep: code ``unsettled``."""
        text = (
            f"The gain follows the sweep at {number_text(drive_dbfs, 1)} dBFS: a steady tone of "
            f"{number_text(self.frequency_hz, 0)} Hz came through {signed_text(self.gain_db, 2)} dB, the "
            f"sweep {signed_text(self.swept_db, 2)} dB there ({take.label}). Points of the response are "
            "known no better. Use a recipe with a quieter or longer sweep"
        )
        return Health("unsettled", "warn", text, channel=take.channel)


def off_tone(wet: Take, bypass: Take | None, response: Response, *, drive_dbfs: float) -> OffTone | None:
    """Compare the response of a sweep with steady tones of its level; None where none denies it.

    Parameters
    ----------
    wet, bypass : Take
        Captures of the setting and of the bypass that the response is taken against, if it is.
    response : Response
        At its frequencies.
    drive_dbfs : float
        Level of the sweep as played.

    Notes
    -----
    Between two frequencies a comb may lie anywhere within what they and their neighbours span. A tone that
    still moves may come to the sweep's gain, unless it moves away from it.
    """
    hz, swept = response.frequency_hz, response.magnitude_db
    dry = _late_levels(bypass, drive_dbfs) if bypass is not None else {}
    found = []
    for (tone_hz, level_dbfs), (before, level) in _late_levels(wet, drive_dbfs).items():
        nominal = Quantity.from_std(level_dbfs, 0.0, "dBFS")
        _, played = dry.get((tone_hz, level_dbfs), (None, None if bypass is not None else nominal))
        if played is None or not hz[0] <= tone_hz <= hz[-1]:
            continue
        swept_db = float(np.interp(np.log(tone_hz), np.log(hz), swept))
        one, earlier = (OffTone(tone_hz, half.value - played.value, swept_db) for half in (level, before))
        if abs(level.value - before.value) >= MOVES_DB and one.by_db < earlier.by_db:
            continue
        above = int(np.clip(np.searchsorted(hz, tone_hz), 1, hz.size - 1))
        near = slice(max(0, above - 2), above + 2)
        std = math.hypot(level.std, played.std, float(response.magnitude_std_db[near].max()))
        if one.by_db > OFF_DB + float(np.ptp(swept[near])) / 2 + SURE * std:
            found.append(one)
    return max(found, key=lambda one: one.by_db, default=None)


def tones_move(wet: Take, drive_dbfs: float) -> bool:
    """Whether any steady tone of a sweep's level, from silence as the sweep is, still moves."""
    return any(
        abs(late.value - before.value) > MOVES_DB + SURE * math.hypot(late.std, before.std)
        for before, late in _late_levels(wet, drive_dbfs).values()
    )


@once
def _late_levels(take: Take, drive_dbfs: float) -> dict[tuple[float, float], tuple[Quantity, Quantity]]:
    """Late halves of every tone that was played at a level, by frequency and level as played."""
    found = {}
    for tone in (tone for segment in held(take, Tones) for tone in take.intact(segment).tones):
        if abs(tone.level_dbfs - drive_dbfs) < SAME_LEVEL_DB:
            halves = late_halves(take, tone, frequency_hz=tone.frequency_hz)
            if halves is not None:
                found[tone.frequency_hz, tone.level_dbfs] = halves
    return found
