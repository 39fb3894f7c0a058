"""Words between those of 16 and of 24 bits, whose dither is part of the noise that is measured."""

from __future__ import annotations

import math

import numpy as np

from charprobe.measuring.health.file.sample_facts import gather_sample_facts
from charprobe.measuring.health.path.under_tones import pause_db, rounding_db
from charprobe.measuring.health.pauses.quiet import QuietSpectrum
from charprobe.placing.take import Take
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.values.wording import number_text

BITS = (17, 22)  # fewer are told whatever the noise; more lie below that of any converter
DITHERED_TWICE_DB = 10 * math.log10(6.0)  # over rounding: each time it comes with dither of twice its power
NEAR_DB = 10.0  # of the pauses' noise over that: the words make 0.5 dB of it


def check_coarse_words(take: Take, spectrum: QuietSpectrum) -> list[Health]:
    """Notice noise that the words of the file may have made: code ``few-bits``."""
    bits = take.source.once(gather_sample_facts)[take.channel].bits_used
    if bits is None or not BITS[0] <= bits <= BITS[1]:
        return []
    words_db = rounding_db(bits, take.stimulus.rate_hz) + DITHERED_TWICE_DB
    over_db = float(np.median(pause_db(spectrum))) - words_db
    if over_db > NEAR_DB:
        return []
    share_db = 10 * math.log10(1 / (1 - min(0.9, 10 ** (-over_db / 10))))
    message = (
        f"Only {bits} bits carry data ({take.label}), and up to {number_text(share_db, 1)} dB of the noise "
        "may be their dither, if added twice: noise figures are the file's. Export 24 bits and retake. "
        f"{ALL_GIVEN}"
    )
    return [Health("few-bits", "warn", message, channel=take.channel)]
