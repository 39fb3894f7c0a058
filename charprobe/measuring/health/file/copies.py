"""Captures that are one and the same recording, whatever their files are called and however they are cut."""

from __future__ import annotations

import hashlib

import numpy as np

from charprobe.placing.take import Take, once
from charprobe.profile.entry import Health
from charprobe.values.arrays import Array
from charprobe.values.fast_length import fast_length_within
from charprobe.values.hann import hann

AGAINST_BYPASS = ("noise.change", "noise.change_at_equal_level", "path", "colour.onset", "response")
WITHHELD = ("static.makeup_gain", *AGAINST_BYPASS)
FEWEST_SAMPLES, PIECE, MOST_SAMPLES = 2000, 1 << 12, 1 << 15  # of noise: a capture may wait for minutes
ALIKE = 0.5  # correlation of noise; of two takes it is 0.1
LEFT, EXACT = 4.0, 1e-5  # times the noise, and of the sound, that one gain leaves of a stage's output
BLOCK = 1 << 18


@once
def sound_hash(take: Take) -> str:
    """SHA-256 of a channel's samples from the opening marker to the end of the closing one; 64 hex digits.

    The same for copies in another container, of more bits, or with more or less silence around, and for no
    two recordings of a converter that has any noise. Empty where the capture does not hold both markers.
    """
    stimulus, place = take.stimulus, take.alignment
    first = round(place.capture_index(float(stimulus.opening.start)))
    last = round(place.capture_index(float(stimulus.closing.stop)))
    if not (place.opening_found and place.closing_found) or first < 0 or last > take.source.frames:
        return ""
    digest = hashlib.sha256()
    for start in range(first, last, BLOCK):
        samples = take.source.read(start, min(start + BLOCK, last), take.channel)
        digest.update(np.ascontiguousarray(samples, dtype="<f8").data)
    return digest.hexdigest()


def check_copy(wet: Take, bypass: Take) -> list[Health]:
    """Notice a bypass that is the capture itself, or what it was made from: code ``equals-other-capture``."""
    # cheaper than hashing what follows
    one, other = _from_opening(wet, bypass, 0, wet.stimulus.opening.length)
    alike = np.array_equal(one, other, equal_nan=True)
    same = alike and (own := sound_hash(wet)) and own == sound_hash(bypass)
    if not same and _noise_alike(wet, bypass) < ALIKE:
        return []
    if not same and _processed(wet, bypass):
        message = (
            f"{wet.label} and the bypass {bypass.label} hold the same noise, but not the same sound: the "
            "stage was run over the bypass's own recording. Noise is the path's, as the stage passes it on; "
            "none is given of the setting. To know it, play through the stage and capture; the rest is kept"
        )
        return [Health("equals-other-capture", "warn", message, channel=wet.channel, withholds=("noise",))]
    message = (
        f"{wet.label} and the bypass {bypass.label} are the same recording, not a setting and its bypass: one"
        " file was given or exported twice, turned up or down, or the stage was off in both and the path is "
        "digital. Nothing against the bypass is given. Name the right file, or capture again; the rest "
        "is kept"
    )
    return [Health("equals-other-capture", "stop", message, channel=wet.channel, withholds=WITHHELD)]


def _processed(wet: Take, bypass: Take) -> bool:
    """Whether no one gain makes one take of the other: it leaves more under the sound than before it."""
    length = wet.stimulus.closing.stop - wet.stimulus.opening.start
    products = np.zeros((2, 2))
    for first in range(0, length, BLOCK):
        both = _from_opening(wet, bypass, first, min(first + BLOCK, length))
        products += both @ both.T
    gain = products[0, 1] / max(products[1, 1], 1e-300)
    noise = (1.0, -gain) @ _from_opening(wet, bypass, -MOST_SAMPLES, 0)
    left = products[0, 0] - gain * products[0, 1]
    return bool(left > max(LEFT**2 * float(np.mean(noise**2)) * length, EXACT**2 * products[0, 0]))


def _noise_alike(one: Take, other: Take) -> float:
    """How much the noise before the opening markers is the same, at most 1; 0 where captures hold too little.

    Every frequency counts alike, at whatever delay, so that no tone that two takes share makes them one; and
    so does every piece, so that no step or click does that both begin with.
    """
    both = np.diff(_from_opening(one, other, -MOST_SAMPLES, 0), n=2)
    if both.shape[1] < FEWEST_SAMPLES or not np.all(np.isfinite(both)):
        return 0.0
    size = fast_length_within(min(both.shape[1], PIECE))
    pieces = both[:, both.shape[1] % size :].reshape(2, -1, size)
    pieces = pieces[:, pieces.any(axis=2).all(axis=0)]
    if pieces.size == 0:
        return 0.0
    first, second = np.fft.rfft(pieces * hann(size))
    cross = first * second.conj()
    alike = np.fft.irfft(cross / np.maximum(np.abs(cross), 1e-300))
    return float(np.median(np.abs(alike).max(axis=1)))


def _from_opening(one: Take, other: Take, first: int, last: int) -> Array:
    """What both takes hold there, in samples from their opening markers on, shape (2, n)."""
    starts = [round(take.alignment.capture_index(take.stimulus.opening.start)) for take in (one, other)]
    first = max(first, *(-start for start in starts))
    last = max(first, min(last, *(t.source.frames - at for t, at in zip((one, other), starts, strict=True))))
    return np.stack(
        [
            take.source.read(at + first, at + last, take.channel)
            for take, at in zip((one, other), starts, strict=True)
        ]
    )
