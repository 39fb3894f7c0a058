"""Sample values to stored bytes and back, exactly: our own quantisation, so nothing wraps at full scale."""

from __future__ import annotations

from typing import Literal

import numpy as np

from charprobe.files.sound.facts import Encoding
from charprobe.values.arrays import Array
from charprobe.values.errors import SoundFileError

WrittenEncoding = Literal["float32", "pcm24"]

_SAMPLE_TYPES: dict[str, tuple[str, float, float]] = {  # dtype, offset, value of one code step
    "pcm8": ("u1", -128.0, 2.0**-7),
    "pcm16": ("<i2", 0.0, 2.0**-15),
    "pcm32": ("<i4", 0.0, 2.0**-31),
    "float32": ("<f4", 0.0, 1.0),
    "float64": ("<f8", 0.0, 1.0),
}
_FULL_SCALE_24 = 1 << 23
SAMPLE_BYTES: dict[str, int] = {
    "pcm24": 3,
    **{name: np.dtype(dtype).itemsize for name, (dtype, _, _) in _SAMPLE_TYPES.items()},
}


def held_in(encoding: Encoding) -> np.dtype[np.floating]:
    """Return the smallest type that holds every value of a coding exactly."""
    return np.dtype("<f8" if encoding in ("pcm32", "float64") else "<f4")


def decode(raw: bytes, *, encoding: Encoding, channels: int) -> Array:
    """Return the exact values of whole interleaved frames; shape (n, channels), full scale = 1."""
    if encoding == "pcm24":
        # four bytes each, of which the first is none of it
        wide = np.ndarray((len(raw) // 3,), "<i4", b"\0" + raw, strides=(3,)) & np.int32(-256)
        return np.asarray(wide * 2.0**-31).reshape(-1, channels)
    dtype, offset, step = _SAMPLE_TYPES[encoding]
    with np.errstate(invalid="ignore"):  # signalling NaN of a broken float file: told by whoever looks
        stored = np.frombuffer(raw, dtype=dtype).astype(np.float64)
    return (stored if step == 1.0 else (stored + offset) * step).reshape(-1, channels)


def decode_channel(raw: bytes, *, encoding: Encoding, channels: int, channel: int) -> Array:
    """Return the values of one channel of whole interleaved frames, nothing else decoded; shape (n,)."""
    if channels > 1:
        frames = np.frombuffer(raw, dtype=np.uint8).reshape(-1, channels, SAMPLE_BYTES[encoding])
        raw = frames[:, channel].tobytes()
    return decode(raw, encoding=encoding, channels=1)[:, 0]


def encode(samples: Array, *, encoding: WrittenEncoding) -> bytes:
    """Return the stored bytes of samples of shape (n, channels), interleaved and little-endian.

    ``"pcm24"`` takes -1 to 1: rounded to the nearest of 2**24 steps, halves to even; exactly +1, which has no
    code, becomes the highest one (1 - 2**-23). ``"float32"`` keeps values beyond full scale. `SoundFileError`
    if a value is not finite or cannot be held.

    Examples
    --------
    >>> encode(np.array([[1.0], [-1.0], [2.0**-23]]), encoding="pcm24").hex(" ", 3)
    'ffff7f 000080 010000'
    """
    peak = float(max(np.max(samples, initial=0.0), -np.min(samples, initial=0.0)))
    most = 1.0 if encoding == "pcm24" else float(np.finfo(np.float32).max)
    if not peak <= most:  # also true for NaN
        found = f"a peak of {peak:.6g}" if np.isfinite(peak) else "values that are not finite"
        raise SoundFileError(
            f"samples with {found} cannot be written as {encoding}, which holds -{most:g} to {most:g}: "
            "lower the level, or write float32. Nothing was written"
        )
    if encoding == "float32":
        return samples.astype("<f4").tobytes()
    codes = np.minimum(np.rint(samples * _FULL_SCALE_24), _FULL_SCALE_24 - 1).ravel()
    stored = np.empty(3 * codes.size + 1, dtype=np.uint8)
    np.ndarray(codes.shape, "<i4", stored, strides=(3,))[:] = codes  # each covers one byte of the last
    return stored[:-1].tobytes()
