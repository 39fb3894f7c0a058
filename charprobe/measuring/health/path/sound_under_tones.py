"""Sounds that begin and end while tones are played: of a tone played twice, one shows them."""

from __future__ import annotations

from collections.abc import Sequence

from charprobe.measuring.health.path.tone_noise import UnderTone
from charprobe.placing.take import Take
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.values.wording import clock_text, number_text

LOUDER_DB = 10.0  # than under the same tone at another time, beyond what the gain makes of noise
FEWEST = 2  # tones: under one alone it may be a click, which is told by itself
LEAST_DBFS = -105.0


def check_sound_under_tones(take: Take, found: Sequence[UnderTone]) -> list[Health]:
    """Compare what lies beside the harmonics of tones of one frequency and level: code ``spur``."""
    groups: dict[tuple[float, float], list[UnderTone]] = {}
    for under in found:
        groups.setdefault((under.tone.frequency_hz, round(under.tone.level_dbfs, 3)), []).append(under)
    louder = []
    for group in groups.values():
        least = min(group, key=lambda under: under.beside_dbfs)
        for under in group:
            by_gain_db = max(0.0, under.gain_db - least.gain_db)
            beyond_db = under.beside_dbfs - max(least.beside_dbfs + by_gain_db, LEAST_DBFS)
            if beyond_db > LOUDER_DB:
                louder.append(under)
    if len(louder) < FEWEST:
        return []
    start_s = take.capture_time_s(min(under.tone.start for under in louder))
    end_s = take.capture_time_s(max(under.tone.stop for under in louder))
    loudest = max(under.beside_dbfs for under in louder)
    message = (
        f"Sound that was not played is under {len(louder)} tones between {clock_text(start_s)} and "
        f"{clock_text(end_s)}, up to {number_text(loudest, 0)} dBFS ({take.label}): the same tones are clean "
        "at another time. A telephone, speech, a machine? What is read from these tones carries it. Silence "
        f"room and computer, and retake. {ALL_GIVEN}"
    )
    return [Health("spur", "warn", message, channel=take.channel, start_s=start_s, end_s=end_s)]
