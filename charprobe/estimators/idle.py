"""What plays while nothing is played: noise in silence and beside a quiet tone, and whether it is muted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.estimators.noise import MIN_LENGTH_S, Noise, is_muted, measure_noise
from charprobe.estimators.tone import ToneFit, fit_tone
from charprobe.estimators.tone_residual import subtract_tone
from charprobe.stimulus.kinds.segment import SegmentOf
from charprobe.stimulus.kinds.steady import Silence
from charprobe.values.cut import Cut

LEAD_S = 0.5  # left out of the silence, at most a quarter of it: what sounded before dies away
TONE_LEAD_S, EDGE_S = 0.1, 0.02
TONE_ORDERS = 10
QUIETER_DB = 6.0  # silence this much below the noise beside the tone is muted, not quiet


@dataclass(frozen=True)
class Heard:
    """What one take shows: noise in silence and beside the tone, and the tone itself; None where absent."""

    silent: Noise | None
    beside_tone: Noise | None
    tone: ToneFit | None
    muted: bool

    @property
    def used(self) -> Noise | None:
        """The noise that counts: in silence, or beside the tone where the silence is muted."""
        return self.beside_tone if self.muted else self.silent or self.beside_tone


def hear_idle(segment: SegmentOf[Silence], cut: Cut) -> Heard:
    """Listen to a silence segment and to the quiet tone in it.

    Parameters
    ----------
    segment : SegmentOf[Silence]
        The segment.
    cut : Cut
        What was recorded of it, whole.
    """
    rate = cut.rate_hz
    length = segment.tones[0].start - segment.span.start if segment.tones else segment.span.length
    lead = min(LEAD_S * rate, 0.25 * length)
    silence = cut.between(segment.span.start + lead, segment.span.start + length - EDGE_S * rate)
    muted = is_muted(silence.samples)
    silent = None if muted or _seconds(silence) < MIN_LENGTH_S else measure_noise(silence)
    beside, tone = None, None
    if segment.tones:
        played = segment.tones[0]
        piece = cut.between(played.start + TONE_LEAD_S * rate, played.stop - EDGE_S * rate)
        if _seconds(piece) >= MIN_LENGTH_S and not is_muted(piece.samples):
            tone = fit_tone(
                piece,
                frequency_hz=played.frequency_hz,
                phase_origin=float(played.start),
                orders=TONE_ORDERS,
                refine=True,
            )
            beside = measure_noise(subtract_tone(piece, tone))
    if silent is not None and beside is not None:
        shared = min(silent.spectrum_hz.size, beside.spectrum_hz.size)
        quieter_db = beside.spectrum_dbfs_per_hz[-shared:] - silent.spectrum_dbfs_per_hz[-shared:]
        muted = bool(np.median(quieter_db) > QUIETER_DB)  # whatever a line adds to one of them
    return Heard(silent, beside, tone, muted)


def _seconds(cut: Cut) -> float:
    return cut.samples.size * cut.step / cut.rate_hz
