"""Captures that an export brought to a round peak or loudness, or to one and the same."""

from __future__ import annotations

import math

from charprobe.files.sound.loudness import estimate_loudness, measure_loudness
from charprobe.files.sound.source import Source
from charprobe.measuring.health.file.sample_facts import ChannelFacts, gather_sample_facts
from charprobe.measuring.health.timeline.steady_gain import tone_gain
from charprobe.placing.take import BY_TONE, Take
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.values.wording import number_text

WITHHELD = (
    "static.makeup_gain", "static.low_level_gain", "static.threshold", "static.threshold_1db", "noise.change",
    "colour.onset", "colour.input_at_thd_minus60db", "colour.input_at_thd_minus40db",
)  # fmt: skip
SAME_DB = 0.003  # how well a gain is known to be what lies between two levels
APART_DB = 0.2  # by which the gains of the takes must differ: equal takes have equal peaks
LEAST_DB = 0.02  # the same of one take at a target: less moves no make-up that is asked for
CEILING = 0.9999  # peaks at full scale are clipped, not normalised
USUAL_PEAKS_DBFS = (-0.1, -0.2, -0.3, -0.5, -1.0, -1.5, -2.0, -3.0)
ROUND_DB = 0.0002  # one capture in six thousand comes so near to one of these by chance
ROUNDING_STEPS = 1.5  # that rounding and its dither move a peak by
COARSE_DB = 0.007  # steps of fewer than 12 bits meet round peaks, and each other, by chance
TOP_DB, ALIKE_DB = 7.0, 0.02  # over so much below the loudest tone a stage that bends it moves by more
TARGETS_LUFS, ON_TARGET_LU = (-14.0, -16.0, -23.0), 0.002  # streams, broadcast; one take in 800 by chance
SAME_LU, ROUND_LU = 0.01, 0.01  # both takes, and how near to a tenth: one pair in 2000 by chance
ROUGHLY_LU = 0.6  # that estimates of two takes may be off by
UNITY_DB = 0.01  # a path of gain 1 leaves the stimulus its own round peak and loudness


def check_normalised(wet: Take, bypass: Take) -> list[Health]:
    """Notice a setting and a bypass of unlike gain and one and the same peak: code ``normalised``.

    The gains are those of quiet sound. Where they differ by what lies between two levels of the stimulus, an
    onset that the stage lets through comes out with the bypass's peak, and nothing is told. Through a path of
    gain 1 the bypass has the stimulus's own peak, and so has a stage that leaves alone what is loud: a gate,
    a lift of what is quiet.
    """
    if abs(wet.alignment.gain_db - bypass.alignment.gain_db) < APART_DB:
        return []
    if abs(bypass.alignment.gain_db) < UNITY_DB:
        return []
    facts = [take.source.once(gather_sample_facts)[take.channel] for take in (wet, bypass)]
    peaks = [each.peak for each in facts]
    if max(peaks) >= CEILING or min(peaks) <= 0 or max(map(_rounding_db, facts)) > COARSE_DB:
        return []
    peak_dbfs, rounding_db = 20 * math.log10(peaks[0]), max(map(_rounding_db, facts))
    if abs(20 * math.log10(peaks[0] / peaks[1])) > 2 * rounding_db:
        return []  # an export brings both to one step; noise alone sets apart what a stage leaves alike
    if not _usual(peak_dbfs, rounding_db) and (
        _alike_at_the_top(wet, bypass) or _apart_as_played(wet, bypass)
    ):
        return []
    peak = number_text(peak_dbfs, 2)
    message = (
        f"{wet.source.name} and {bypass.source.name} both peak at exactly {peak} dBFS, though their gains "
        "differ: normalised on export. Gain, make-up and the place of the threshold are the export's. Export "
        "without normalising. Ratios, times and what depends on no level are kept"
    )
    return [Health("normalised", "warn", message, channel=wet.channel, withholds=WITHHELD)]


def check_to_loudness(wet: Take, bypass: Take) -> list[Health]:
    """Notice captures of a loudness that exports are brought to: code ``normalised``.

    Either one of them has a usual target's, or both have one and the same, a round one, and unlike gains.
    """
    apart_db = abs(wet.alignment.gain_db - bypass.alignment.gain_db)
    if apart_db < LEAST_DB:
        return []
    roughly = [take.source.once(estimate_loudness) for take in (wet, bypass)]
    near = min(abs(each - target) for each in roughly for target in TARGETS_LUFS)
    if min(near, abs(roughly[0] - roughly[1])) > ROUGHLY_LU:
        return []
    lufs = [take.source.once(_loudness_lufs) for take in (wet, bypass)]
    same = abs(lufs[0] - lufs[1]) < SAME_LU and abs(lufs[0] - round(lufs[0], 1)) < ROUND_LU
    same &= abs(bypass.alignment.gain_db) > UNITY_DB and apart_db > APART_DB
    same = same and not _alike_at_the_top(wet, bypass)  # what is loud makes the loudness
    for take, each in zip((wet, bypass), lufs, strict=True):
        if same or min(abs(each - target) for target in TARGETS_LUFS) < ON_TARGET_LU:
            what = f"{wet.source.name} and {bypass.source.name} are" if same else f"{take.source.name} is"
            message = (
                f"{what} at exactly {number_text(each, 2)} LUFS: brought to one loudness on export. "
                "Gain, make-up and the place of the threshold are the export's. Export without changing "
                "levels. Ratios, times and what depends on no level are kept"
            )
            return [Health("normalised", "warn", message, channel=wet.channel, withholds=WITHHELD)]
    return []


def _loudness_lufs(source: Source) -> float:
    """Integrated loudness; 0 where all is too quiet to have one."""
    found = measure_loudness(source).integrated_lufs
    return found if isinstance(found, float) else 0.0


def _usual(peak_dbfs: float, rounding_db: float) -> bool:
    """Whether a peak is one that people normalise to; other round ones are those of paths of round gain."""
    nearest = min(USUAL_PEAKS_DBFS, key=lambda usual: abs(usual - peak_dbfs))
    return abs(peak_dbfs - nearest) < ROUND_DB + rounding_db


def _alike_at_the_top(wet: Take, bypass: Take) -> bool:
    """Whether a stage passes the loudest tones of some frequency unchanged, whatever their level.

    Gates, expanders, upward compressors and filters do: equal peaks are their own then.
    """
    of_wet, of_bypass = _gains_at_the_top(wet), _gains_at_the_top(bypass)
    return _all_within(
        ALIKE_DB, {key: gain - of_bypass[key] for key, gain in of_wet.items() if key in of_bypass}
    )


def _apart_as_played(wet: Take, bypass: Take) -> bool:
    """Whether the gains of quiet sound differ by what lies between the loudest tone and another."""
    levels = {tone.level_dbfs for segment in wet.stimulus.segments for tone in segment.tones}
    apart_db = wet.alignment.gain_db - bypass.alignment.gain_db
    return any(abs(max(levels) - level - apart_db) < SAME_DB for level in levels)


def _gains_at_the_top(take: Take) -> dict[tuple[float, float], float]:
    """Gain in dB of a take's loudest tones by their frequency and level."""
    tones = [tone for s in take.stimulus.segments if s.spec.kind in BY_TONE for tone in s.tones]
    top_dbfs = max((tone.level_dbfs for tone in tones), default=0.0) - TOP_DB
    loud = {(tone.frequency_hz, tone.level_dbfs): tone for tone in tones if tone.level_dbfs > top_dbfs}
    read = ((key, tone_gain(take, tone)) for key, tone in loud.items())
    return {key: gain.gain_db for key, gain in read if gain is not None}


def _all_within(most_db: float, gains_db: dict[tuple[float, float], float]) -> bool:
    """Whether at some frequency all levels, and more than one, have gain 1 within so much."""
    by_frequency: dict[float, list[float]] = {}
    for (frequency_hz, _), gain_db in gains_db.items():
        by_frequency.setdefault(frequency_hz, []).append(gain_db)
    return any(len(each) > 1 and max(map(abs, each)) < most_db for each in by_frequency.values())


def check_round_peak(take: Take, facts: ChannelFacts) -> list[Health]:
    """Notice a single capture whose peak is one that exports are normalised to: code ``normalised``.

    A peak of flat tops is a ceiling, and one that the stimulus itself has is that of a path of gain 1, or of
    a stage that passes the loudest tones of some frequency with gain 1: a gate that is open, bent treble.
    """
    if facts.peak <= 0 or facts.flat_tops or abs(take.alignment.gain_db) < UNITY_DB:
        return []
    peak_dbfs, rounding_db = 20 * math.log10(facts.peak), _rounding_db(facts)
    if rounding_db > COARSE_DB or not _usual(peak_dbfs, rounding_db):
        return []
    if _all_within(UNITY_DB, _gains_at_the_top(take)):
        return []
    message = (
        f"Peaks at exactly {number_text(peak_dbfs, 1)} dBFS ({take.label}): normalised on export, or cut off "
        "there? Then gain, make-up and the place of the threshold are the export's. Export without "
        f"normalising. {ALL_GIVEN}; ratios, times and what depends on no level stand"
    )
    return [Health("normalised", "warn", message, channel=take.channel)]


def _rounding_db(facts: ChannelFacts) -> float:
    """How far rounding to the bits in use may move a peak, in dB."""
    return 20 * math.log10(1 + ROUNDING_STEPS * 2.0 ** (1 - (facts.bits_used or 24)) / facts.peak)
