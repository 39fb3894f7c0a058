"""The sound of a pair by time and frequency: where the processed one is louder or softer than the dry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.files.sound.frames import Frames, read_padded
from charprobe.listening.aligning.pairing import AlignedPair
from charprobe.values.arrays import Array

LONGEST_S = 60.0  # of a longer pair, its middle is drawn
BANDS, SIZE, MOMENTS = 64, 4096, 1000  # MOMENTS at most, along the whole picture
LOW_HZ, HIGH_HZ = 40.0, 20_000.0
QUIETEST_DB = -60.0  # re the loudest moment of the loudest band; below, a change tells nothing


@dataclass(frozen=True)
class BandPicture:
    """Levels of both sounds in bands of equal width to the ear, and their change.

    Attributes
    ----------
    time_s : ndarray, shape (moments,)
        Middle of each moment, from the first common frame.
    frequency_hz : ndarray, shape (bands,)
        Middle of each band.
    level_db : ndarray, shape (bands, moments)
        Level of the dry sound re its loudest band and moment.
    change_db : ndarray, shape (bands, moments)
        Level of the processed sound re the dry; NaN where the dry sound lies below `QUIETEST_DB`.
    """

    time_s: Array
    frequency_hz: Array
    level_db: Array
    change_db: Array


def picture_bands(pair: AlignedPair) -> BandPicture:
    """Set the bands of a pair on one clock beside each other.

    Notes
    -----
    64 mel bands over Hann windows of 4096 frames, the power of all channels together, before matching.
    A change of gain within a window shows as its mean over the window.
    """
    import librosa  # noqa: PLC0415  # slow to import, and only for this

    rate_hz = pair.dry.rate_hz
    frames = min(pair.dry.frames, round(LONGEST_S * rate_hz))
    first = (pair.dry.frames - frames) // 2
    hop = max(SIZE // 8, -(-frames // MOMENTS))
    highest_hz = min(HIGH_HZ, rate_hz / 2)

    def bands(source: Frames) -> Array:
        samples = read_padded(source, first, first + frames).T
        power = librosa.feature.melspectrogram(
            y=samples, sr=rate_hz, n_fft=SIZE, hop_length=hop, n_mels=BANDS, fmin=LOW_HZ, fmax=highest_hz
        )
        return np.asarray(power.sum(axis=0), dtype=np.float64)

    dry, processed = bands(pair.dry), bands(pair.processed)
    least = 1e-15 * dry.max()
    level = 10 * np.log10(np.maximum(dry, least) / dry.max())
    each = len(pair.dry_channels) / pair.dry.channels  # a mono sound beside both channels counts for each
    change = 10 * np.log10(np.maximum(processed, least) / np.maximum(each * dry, least))
    moments = (first + hop * np.arange(dry.shape[1])) / rate_hz
    middle = librosa.mel_frequencies(n_mels=BANDS + 2, fmin=LOW_HZ, fmax=highest_hz)[1:-1]
    return BandPicture(moments, np.asarray(middle), level, np.where(level >= QUIETEST_DB, change, np.nan))
