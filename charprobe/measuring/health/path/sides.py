"""Whether a channel holds the side that was meant for it, and not the middle or the difference of two."""

from __future__ import annotations

import numpy as np

from charprobe.estimators.link import measure_link
from charprobe.measuring.health.path.second_path import WITHHELD
from charprobe.placing.take import Take, held
from charprobe.profile.entry import Health
from charprobe.stimulus.kinds.link import Link
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array
from charprobe.values.errors import SegmentTooShortError
from charprobe.values.phasor import phasor

SETTLED_FROM, BEFORE_END_S = 0.5, 0.01
LEAST_DBFS, LEAST_GAIN = -45.0, 1e-3
FEWEST, SPAN_DB = 8, 20.0  # tones of one frequency, and the levels they span
MOVES_DB, STILL_DB = 0.5, 0.02  # by which both channels change their gain, their sum or difference does not


def check_sides(take: Take) -> list[Health]:
    """Notice exchanged channels where the sides of the stimulus differ: code ``channel-swapped``."""
    segments = held(take, Link)
    if not segments or take.source.channels < 2 or take.channel > 1:
        return []
    try:
        side = measure_link(segments[0], take.segment(segments[0])).side
    except SegmentTooShortError:
        return []
    if side == take.channel + 1:
        return []
    message = (
        f"Channel {take.channel + 1} holds the signal meant for channel {side} ({take.source.name}): outputs "
        "or inputs are exchanged. Results stand under the channel they were recorded in. Put the cables "
        "right and retake, or mind which side is which"
    )
    return [Health("channel-swapped", "warn", message, channel=take.channel)]


def check_mid_side(take: Take) -> list[Health]:
    """Notice a file whose two channels are middle and side: code ``mid-side``.

    Each then is the mean of what two inputs held. Where one input had the sound as it was played and the
    other came through the stage, the gains of both channels follow the level, and those of their sum or
    difference do not: no two channels of one stage do that.
    """
    if take.source.channels != 2:
        return []
    by_hz: dict[float, list[Tone]] = {}
    for tone in take.single_tones():
        if tone.level_dbfs > LEAST_DBFS:
            by_hz.setdefault(tone.frequency_hz, []).append(tone)
    tones = max(by_hz.values(), key=len, default=[])
    if len(tones) < FEWEST or np.ptp([tone.level_dbfs for tone in tones]) < SPAN_DB:
        return []
    one, other = np.array([_both(take, tone) for tone in tones]).T
    mixed = min(_moves_db(one), _moves_db(other)) > MOVES_DB
    if not mixed or min(_moves_db(one + other), _moves_db(one - other)) > STILL_DB:
        return []
    message = (
        f"Channels 1 and 2 are middle and side ({take.source.name}): their sum or difference is the sound as "
        "it was played, and each of them mixes that with what came through the stage. Ratio, times and "
        "harmonics would be the mixture's. Decode to left and right, or export without encoding, and give "
        "that. Noise and latency are kept, marked"
    )
    return [Health("mid-side", "stop", message, channel=take.channel, withholds=WITHHELD)]


def _both(take: Take, tone: Tone) -> tuple[complex, complex]:
    """Gain of both channels at a tone, as played, with its phase."""
    rate_hz = take.stimulus.rate_hz
    cut = take.cut(tone.start + SETTLED_FROM * tone.length, tone.stop - BEFORE_END_S * rate_hz)
    first = round(take.alignment.capture_index(cut.start))
    per_sample = tone.frequency_hz / rate_hz
    wave = phasor(per_sample * (cut.start - tone.start), per_sample * cut.step, cut.samples.size).conj()
    window = np.hanning(wave.size)
    scale = 2 / max(float(window.sum()), 1e-9) / 10 ** (tone.level_dbfs / 20)
    read = (take.source.read(first, first + wave.size, channel) for channel in (0, 1))
    one, other = (complex((window * wave) @ np.resize(samples, wave.size)) * scale for samples in read)
    return one, other


def _moves_db(gains: Array) -> float:
    """How far the size of gains moves over level; much where it is no more than noise."""
    size = np.abs(gains)
    return float(np.ptp(20 * np.log10(np.maximum(size, 1e-9)))) if size.min() > LEAST_GAIN else np.inf
