"""Sound for a page: without loss beyond 16 bits, in a coding that browsers play."""

from __future__ import annotations

import io

import numpy as np
import soundfile  # type: ignore[import-untyped]  # ships no types

from charprobe.files.output import MAKER
from charprobe.values.arrays import Array

STEPS = 1 << 15
ROOM = 1.0 - 2.0 / STEPS  # the dither adds up to one step


def flac_bytes(samples: Array, *, rate_hz: int, rng: np.random.Generator) -> bytes:
    """Return one channel as a FLAC file of 16 bits, dithered; the same arguments give the same bytes.

    Full scale = 1; values beyond it are refused.

    Examples
    --------
    >>> code = flac_bytes(np.zeros(4800), rate_hz=48_000, rng=np.random.default_rng(1))
    >>> code[:4]
    b'fLaC'
    """
    if np.abs(samples).max(initial=0.0) > ROOM:
        raise ValueError("beyond full scale: turn the sound down first")
    dither = rng.random(samples.size) - rng.random(samples.size)
    stream = io.BytesIO()
    whole = np.round(samples * STEPS + dither).astype(np.int16)
    with soundfile.SoundFile(stream, "w", rate_hz, channels=1, format="FLAC", subtype="PCM_16") as file:
        file.software = MAKER
        file.write(whole)
    return stream.getvalue()
