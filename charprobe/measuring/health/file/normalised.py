"""Captures that an export brought to a round peak, or to one and the same: their gain is the export's."""

from __future__ import annotations

import math

from charprobe.measuring.health.file.sample_facts import ChannelFacts, gather_sample_facts
from charprobe.measuring.health.timeline.steady_gain import tone_gain
from charprobe.placing.take import BY_TONE, Take
from charprobe.profile.entry import Health
from charprobe.values.wording import number_text

WITHHELD = (
    "static.makeup_gain", "static.low_level_gain", "static.threshold", "static.threshold_1db", "noise.change",
    "colour.onset", "colour.input_at_thd_minus60db", "colour.input_at_thd_minus40db",
)  # fmt: skip
SAME_DB = 0.003  # peaks of two takes through noise differ by more
APART_DB = 0.2  # by which the gains of the takes must differ: equal takes have equal peaks
CEILING = 0.9999  # peaks at full scale are clipped, not normalised
USUAL_PEAKS_DBFS = (-0.1, -0.2, -0.3, -0.5, -1.0, -1.5, -2.0, -3.0)
ROUND_DB = 0.0002  # one capture in six thousand comes so near to one of these by chance
ROUNDING_STEPS = 1.5  # that rounding and its dither move a peak by
COARSE_DB = 0.007  # steps of fewer than 12 bits meet round peaks, and each other, by chance
TOP_DB, ALIKE_DB = 7.0, 0.02  # over so much below the loudest tone a stage that bends it moves by more
UNITY_DB = 0.01  # a path of gain 1 leaves the stimulus its own round peak


def check_normalised(wet: Take, bypass: Take) -> list[Health]:
    """Notice a setting and a bypass of unlike gain and one and the same peak: code ``normalised``.

    The gains are those of quiet sound. Through a path of gain 1 the bypass has the stimulus's own peak, and
    so has a stage that leaves alone what is loud: a gate, a lift of what is quiet.
    """
    if abs(wet.alignment.gain_db - bypass.alignment.gain_db) < APART_DB:
        return []
    if abs(bypass.alignment.gain_db) < UNITY_DB:
        return []
    facts = [take.source.once(gather_sample_facts)[take.channel] for take in (wet, bypass)]
    peaks = [each.peak for each in facts]
    if max(peaks) >= CEILING or min(peaks) <= 0 or max(map(_rounding_db, facts)) > COARSE_DB:
        return []
    if abs(20 * math.log10(peaks[0] / peaks[1])) > SAME_DB:
        return []
    peak_dbfs, rounding_db = 20 * math.log10(peaks[0]), max(map(_rounding_db, facts))
    if not _round(peak_dbfs, rounding_db) and _alike_at_the_top(wet, bypass):
        return []
    peak = number_text(peak_dbfs, 2)
    message = (
        f"{wet.source.name} and {bypass.source.name} both peak at exactly {peak} dBFS, though their gains "
        "differ: normalised on export. Gain, make-up and the place of the threshold are the export's. Export "
        "without normalising. Ratios, times and what depends on no level are kept"
    )
    return [Health("normalised", "warn", message, channel=wet.channel, withholds=WITHHELD)]


def _round(peak_dbfs: float, rounding_db: float) -> bool:
    """Whether a peak is a whole number of tenths of a dB, as people enter them."""
    return abs(peak_dbfs - round(peak_dbfs, 1)) < ROUND_DB + rounding_db


def _alike_at_the_top(wet: Take, bypass: Take) -> bool:
    """Whether a stage passes the loudest tones of some frequency unchanged, whatever their level.

    Gates, expanders, upward compressors and filters do: equal peaks are their own then.
    """
    tones = [tone for s in wet.stimulus.segments if s.spec.kind in BY_TONE for tone in s.tones]
    top_dbfs = max((tone.level_dbfs for tone in tones), default=0.0) - TOP_DB
    changes: dict[float, dict[float, float]] = {}
    for tone in tones:
        if tone.level_dbfs > top_dbfs and tone.level_dbfs not in changes.get(tone.frequency_hz, {}):
            gains = tone_gain(wet, tone), tone_gain(bypass, tone)
            if gains[0] is not None and gains[1] is not None:
                of_level = changes.setdefault(tone.frequency_hz, {})
                of_level[tone.level_dbfs] = gains[0].gain_db - gains[1].gain_db
    return any(
        len(of_level) > 1 and max(map(abs, of_level.values())) < ALIKE_DB for of_level in changes.values()
    )


def check_round_peak(take: Take, facts: ChannelFacts) -> list[Health]:
    """Notice a single capture whose peak is one that exports are normalised to: code ``normalised``.

    A peak of flat tops is a ceiling, and one that the stimulus itself has is that of a path of gain 1.
    """
    if facts.peak <= 0 or facts.flat_tops or abs(take.alignment.gain_db) < UNITY_DB:
        return []
    peak_dbfs = 20 * math.log10(facts.peak)
    nearest = min(USUAL_PEAKS_DBFS, key=lambda usual: abs(usual - peak_dbfs))
    rounding_db = _rounding_db(facts)
    if rounding_db > COARSE_DB or abs(nearest - peak_dbfs) > ROUND_DB + rounding_db:
        return []
    message = (
        f"Peaks at exactly {number_text(nearest, 1)} dBFS ({take.label}): normalised on export, or cut off "
        "there? Then gain, make-up and the place of the threshold are the export's. Export without "
        "normalising. Everything is given, marked; ratios, times and what depends on no level stand"
    )
    return [Health("normalised", "warn", message, channel=take.channel)]


def _rounding_db(facts: ChannelFacts) -> float:
    """How far rounding to the bits in use may move a peak, in dB."""
    return 20 * math.log10(1 + ROUNDING_STEPS * 2.0 ** (1 - (facts.bits_used or 24)) / facts.peak)
