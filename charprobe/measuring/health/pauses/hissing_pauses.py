"""Noise that is there in the pauses alone: what a receiver or a converter does where it hears nothing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from charprobe.measuring.health.path.under_tones import UnderTone, bits_of, pause_db, rounding_db
from charprobe.measuring.health.pauses.quiet import QuietSpectrum
from charprobe.placing.take import Take
from charprobe.profile.entry import Health
from charprobe.values.wording import number_text

QUIETEST, FEWEST = 1 / 3, 6  # share of the tones that are asked, and least of them
SAME_DB, APART_DB = 0.5, 6.0  # by which their gains agree while their levels differ: no gain is on its way up
CLEAR_DB = 6.0


def check_hissing_pauses(take: Take, found: Sequence[UnderTone], spectrum: QuietSpectrum) -> list[Health]:
    """Notice pauses that hiss while quiet tones do not: code ``foreign-noise``.

    A stage whose gain is the same under all quiet tones has it in a pause, too, and its noise with it. What
    a compressor raises in pauses, or an expander lowers, shows in the gain of quiet tones.
    """
    quietest = sorted(found, key=lambda under: under.tone.level_dbfs + under.gain_db)
    asked = quietest[: max(FEWEST, round(QUIETEST * len(found)))]
    if len(asked) < FEWEST:
        return []
    gains = [under.gain_db for under in asked]
    levels = [under.tone.level_dbfs for under in asked]
    if np.ptp(gains) > SAME_DB or np.ptp(levels) < APART_DB:
        return []
    floor_db = rounding_db(bits_of(take), take.stimulus.rate_hz)
    under_db = np.maximum(np.max([under.density_db for under in asked], axis=0), floor_db)
    more_db = float(np.median(pause_db(spectrum) - under_db))
    if more_db < CLEAR_DB:
        return []
    message = (
        f"Noise is {number_text(more_db, 0)} dB louder in pauses than under quiet tones, whose gain is the "
        f"same ({take.label}): a wireless receiver opens, or a converter hisses, where nothing is sent. No "
        "noise figure is given. Record by cable, switch automatic muting off, and retake. The rest is kept, "
        "marked"
    )
    return [Health("foreign-noise", "warn", message, channel=take.channel, withholds=("noise",))]
