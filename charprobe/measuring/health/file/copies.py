"""Captures that are one and the same recording, whatever their files are called and however they are cut."""

from __future__ import annotations

import hashlib

import numpy as np

from charprobe.placing.take import Take, once
from charprobe.profile.entry import Health

WITHHELD = (
    "static.makeup_gain",
    "noise.change",
    "noise.change_at_equal_level",
    "path",
    "colour.onset",
    "response",
)
SAME_DB = 1e-6  # of the markers' gain; noise alone moves it by more
SAME_DELAY = 1e-3  # samples by which copies may lie apart beyond whole ones
FEWEST_SAMPLES, MOST_SAMPLES = 2000, 200_000  # of noise that is compared: a capture may wait for minutes
ALIKE = 0.5  # correlation of noise; of two takes it is 0.02
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
    """Notice a bypass that is the capture itself, by samples or noise: code ``equals-other-capture``."""
    same_gain = abs(wet.alignment.gain_db - bypass.alignment.gain_db) <= SAME_DB
    same = same_gain and _start_alike(wet, bypass) and (own := sound_hash(wet)) and own == sound_hash(bypass)
    if not same and _noise_alike(wet, bypass) < ALIKE:
        return []
    message = (
        f"{wet.label} and the bypass {bypass.label} are the same recording, not a setting and its bypass: one"
        " file was given or exported twice, turned up or down, or the stage was off in both and the path is "
        "digital. Nothing against the bypass is given. Name the right file, or capture again; the rest "
        "is kept"
    )
    return [Health("equals-other-capture", "stop", message, channel=wet.channel, withholds=WITHHELD)]


def _start_alike(one: Take, other: Take) -> bool:
    """Whether the opening markers are the same to the last bit; cheaper than hashing what follows."""
    opening = one.stimulus.opening
    first, second = (
        take.source.read(start, start + opening.length, take.channel)
        for take in (one, other)
        for start in (round(take.alignment.capture_index(float(opening.start))),)
    )
    return np.array_equal(first, second, equal_nan=True)


def _noise_alike(one: Take, other: Take) -> float:
    """Correlation of the noise before the opening marker; 0 where captures lie otherwise or hold too little.

    Twice differenced: hum and what else two takes share is low, noise is not.
    """
    starts = [
        float(take.alignment.capture_index(float(take.stimulus.opening.start))) for take in (one, other)
    ]
    if abs(starts[0] - starts[1] - round(starts[0] - starts[1])) > SAME_DELAY:
        return 0.0
    last = min(int(min(starts)), MOST_SAMPLES)
    pieces = [
        np.diff(take.source.read(round(start) - last, round(start), take.channel), n=2)
        for take, start in zip((one, other), starts, strict=True)
    ]
    if last < FEWEST_SAMPLES or not all(np.all(np.isfinite(piece)) and piece.any() for piece in pieces):
        return 0.0
    return abs(float(pieces[0] @ pieces[1])) / float(np.linalg.norm(pieces[0]) * np.linalg.norm(pieces[1]))
