"""What was decoded last of a source, kept and handed out as it is."""

from __future__ import annotations

from abc import abstractmethod
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from charprobe.files.sound.frames import BLOCK_FRAMES
from charprobe.files.sound.sample_codes import held_in
from charprobe.files.sound.source import Source
from charprobe.values.arrays import Array

KEPT_FRAMES = 1 << 23  # of its channels together that a source keeps: 3 minutes at 48 kHz, 34 or 67 MB
FEW_FRAMES = 1 << 22  # that it keeps where one channel has less: channels are read one after another
MOST = 1e15  # of full scale: what overflows when powers are summed is no number either
STRETCH_FRAMES = 1 << 20  # that are decoded side by side where a channel has more than is kept


class Decoded(Source):
    """A source decoded block by block, each channel for itself; what it hands out cannot be written to."""

    @abstractmethod
    def _decoded(self, channel: int, number: int) -> NDArray[np.floating]:
        """Samples of one block of one channel, the last block shorter."""

    def read(self, start: int, stop: int, channel: int) -> Array:
        """Samples `start` to `stop` of one channel (from 0), clipped to what there is; shape (n,)."""
        first, last = self._clipped(start, stop)
        if first == last or not 0 <= channel < self.channels:
            return super().read(first, last, channel)
        length = self._stretch_frames
        number = first // length
        parts = []
        while first < last:
            begin, upto = number * length, min(last, (number + 1) * length)
            parts.append(self._stretch(channel, number, first - begin, upto - begin))
            first, number = upto, number + 1
        return parts[0] if len(parts) == 1 else np.concatenate(parts)

    @property
    def _stretch_frames(self) -> int:
        """Frames of a stretch: within one, what is read is not put together."""
        return self.frames if self.frames <= KEPT_FRAMES else STRETCH_FRAMES

    def _stretch(self, channel: int, number: int, start: int, stop: int) -> Array:
        """Return samples `start` to `stop` of one stretch of a channel, decoded where they are not yet."""
        kept: dict[tuple[int, int], _Stretch] = self.__dict__.setdefault("_kept", {})
        begin = number * self._stretch_frames
        stretch = kept.get((channel, number))
        if stretch is None:
            frames = min(self._stretch_frames, self.frames - begin)
            stretch = kept[channel, number] = _Stretch(np.empty(frames, held_in(self.facts.subtype)), set())
            if len(kept) * self._stretch_frames > min(KEPT_FRAMES, max(FEW_FRAMES, self.frames)):
                kept.pop(next(iter(kept)), None)
        for block in range(start // BLOCK_FRAMES, (stop - 1) // BLOCK_FRAMES + 1):
            if block not in stretch.decoded:
                at = block * BLOCK_FRAMES
                values = stretch.values[at : at + BLOCK_FRAMES]
                with np.errstate(invalid="ignore"):  # samples that are no numbers stay so, and are told later
                    values[:] = self._decoded(channel, begin // BLOCK_FRAMES + block)
                if self.facts.subtype.startswith("float"):
                    values[np.abs(values) > MOST] = np.nan  # what is computed with these stays quiet
                stretch.decoded.add(block)
        asked = np.asarray(stretch.values[start:stop], dtype=np.float64)
        asked.flags.writeable = False
        return asked

    def _block(self, number: int) -> tuple[int, int]:
        """First and last frame of a block."""
        return self._clipped(number * BLOCK_FRAMES, (number + 1) * BLOCK_FRAMES)


@dataclass(frozen=True)
class _Stretch:
    """Room for some blocks of one channel, and which of them are decoded in it."""

    values: NDArray[np.floating]
    decoded: set[int]
