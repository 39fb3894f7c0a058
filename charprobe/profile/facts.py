"""Where the numbers of a profile come from: capture, stimulus, alignment, and what made it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from annotated_types import Interval, MaxLen

from charprobe.files.limits import Among, Number, Says, Sha256
from charprobe.profile.entry import Cell

Channel = Annotated[int, Interval(ge=1, le=1024)]
GivenName = Annotated[str, MaxLen(1000)]
Rate = Annotated[int, Interval(ge=1, le=10_000_000)]


@dataclass(frozen=True)
class CaptureFacts:
    """The capture file as it was found: name without folders, SHA-256 of its bytes, rate, bits, size.

    `sound_sha256` is that of the channel's samples between the markers, empty where it does not hold both.
    """

    file: GivenName
    sha256: Sha256
    rate_hz: Rate
    bits: Annotated[int, Interval(ge=1, le=64)]
    channels: Channel
    duration_s: Annotated[float, Interval(ge=0, le=1e7)]
    sound_sha256: Annotated[str, Says("64 hexadecimal digits (0-9, a-f), or none", "^([0-9a-f]{64})?$")] = ""


@dataclass(frozen=True)
class StimulusFacts:
    """The stimulus the capture holds: recipe, SHA-256 of the canonical recipe, take number, rate."""

    recipe: Annotated[str, MaxLen(200)]
    hash: Sha256
    take: Annotated[int, Interval(ge=0)]
    rate_hz: Rate


@dataclass(frozen=True)
class AlignmentFacts:
    """How the capture lies on the stimulus clock; polarity is 1, or -1 where the path inverts."""

    delay_samples: Number
    drift_ppm: Number
    polarity: Annotated[int, Among((-1, 1))]


@dataclass(frozen=True)
class MadeWith:
    """What made the profile: version of charprobe and the options given."""

    version: Annotated[str, MaxLen(200)]
    options: Mapping[str, Cell]
