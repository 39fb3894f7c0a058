"""What a sound file says it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Encoding = Literal["pcm8", "pcm16", "pcm24", "pcm32", "float32", "float64"]
LengthTold = Literal["as written", "longer than file", "wrapped", "never finished", "open-ended"]


@dataclass(frozen=True)
class FileFacts:
    """What a sound file says it is, and how much sound it really holds.

    Attributes
    ----------
    container : str
        In plain words: ``"WAV"``, ``"WAV extensible"``, ``"RF64"``, ``"FLAC"``, ...
    subtype : str
        Coding of one sample: ``"pcm8"`` to ``"pcm32"``, ``"float32"``, ``"float64"``.
    bits : int
        Bits per sample according to the header.
    rate_hz, channels, frames : int
        Sampling rate, channels, and samples per channel that can be read.
    size_bytes : int
        Size of the whole file.
    header_frames : int or None
        Samples per channel that the header promises; None if it leaves that open.
    length : str
        How `frames` and `header_frames` go together: ``"as written"``, ``"longer than file"`` (the file
        ends early), ``"wrapped"`` (a size beyond 4 GB overflowed) or ``"open-ended"``.
    """

    container: str
    subtype: Encoding
    bits: int
    rate_hz: int
    frames: int
    channels: int
    size_bytes: int
    header_frames: int | None
    length: LengthTold

    @property
    def duration_s(self) -> float:
        """Length of the readable sound in seconds."""
        return self.frames / self.rate_hz
