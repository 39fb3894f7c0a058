"""Runs of tones: placing them without phase jumps, and the sound of any list of them."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from charprobe.stimulus.kinds.segment import PIECE, RAMP_S, Piece, Segment, SegmentOf, Span, Spec, Tone
from charprobe.values.arrays import Array

GROUP_GAP_S = 0.002  # a gap this short parts tones whose phases do not join


class ToneRun(Spec):
    """A kind that is a list of tones, and sounds as its timetable says unless it has a sound of its own."""

    @abstractmethod
    def place(self, *, start: int, rate_hz: int) -> Sequence[Tone]:
        """Place the tones, the first one at stimulus sample `start`."""

    def lay_out(self, *, start: int, rate_hz: int) -> Segment:
        """Place the tones; the segment ends with the last one."""
        tones = tuple(self.place(start=start, rate_hz=rate_hz))
        return SegmentOf(self, Span(start, tones[-1].stop - start), tones)

    def pieces(self, segment: Segment, *, rate_hz: int, side: int) -> Iterator[Piece]:
        """Yield the tones."""
        return tone_pieces(segment.tones, rate_hz=rate_hz)


def ramp_samples(rate_hz: int) -> int:
    """Samples of the soft ramp that starts and ends every run of tones."""
    return round(RAMP_S * rate_hz)


def phase_at(tone: Tone, position: int, *, rate_hz: int) -> float:
    """Carrier phase of `tone`, in [0, 2 pi), at a stimulus position, inside or outside the tone."""
    turns = tone.frequency_hz * (position - tone.start) / rate_hz
    return float((tone.phase_rad + 2 * np.pi * (turns % 1.0)) % (2 * np.pi))


def tones_apart(
    tones: Iterable[tuple[float, float]], *, start: int, tone_s: float, rate_hz: int
) -> list[Tone]:
    """Place tones of given frequencies and levels, each soft and a group of its own, `GROUP_GAP_S` apart."""
    length, gap = round(tone_s * rate_hz), round(GROUP_GAP_S * rate_hz)
    return [
        Tone(start + i * (length + gap), length, frequency_hz, level_dbfs, 0.0, ramp_samples(rate_hz), i)
        for i, (frequency_hz, level_dbfs) in enumerate(tones)
    ]


def faded(tone: Tone) -> tuple[Array, Array]:
    """Sample numbers of a tone that stands alone, and the raised cosine that fades it in and out."""
    n = np.arange(tone.length, dtype=np.float64)
    edge = np.clip((np.minimum(n, tone.length - 1 - n) + 0.5) / tone.ramp, 0.0, 1.0)
    return n, 0.5 - 0.5 * np.cos(np.pi * edge)


def tone_pieces(tones: Sequence[Tone], *, rate_hz: int) -> Iterator[Piece]:
    """Yield the sound of `tones`, in pieces of at most `PIECE` samples.

    A tone that follows another without a gap moves from its level over `Tone.ramp` samples; any other tone
    rises from silence. A tone that nothing follows fades out within its last `RAMP_S`.
    """
    for i, tone in enumerate(tones):
        before = tones[i - 1] if i and tones[i - 1].stop == tone.start else None
        followed = i + 1 < len(tones) and tones[i + 1].start == tone.stop
        amplitude = 10 ** (tone.level_dbfs / 20)
        origin = 10 ** (before.level_dbfs / 20) if before else 0.0
        fade = 0 if followed else min(ramp_samples(rate_hz), tone.length)
        for first in range(0, tone.length, PIECE):
            n = np.arange(first, min(first + PIECE, tone.length))
            envelope = np.full(n.size, amplitude)
            rise = n[: max(tone.ramp - first, 0)]
            envelope[: rise.size] = origin + (amplitude - origin) * (
                0.5 - 0.5 * np.cos(np.pi * (rise + 0.5) / max(tone.ramp, 1))
            )
            fall = n[max(tone.length - fade - first, 0) :]
            envelope[n.size - fall.size :] *= 0.5 + 0.5 * np.cos(
                np.pi * (fall - (tone.length - fade) + 0.5) / max(fade, 1)
            )
            # the cosine's argument is kept small so that long tones lose no precision
            turns = tone.frequency_hz / rate_hz * n
            turns -= np.floor(turns)
            yield tone.start + first, envelope * np.cos(2 * np.pi * turns + tone.phase_rad)
