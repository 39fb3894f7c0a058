"""What chapters ask of each other and of the bypass, and how to say that a segment is missing."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol

from charprobe.placing.take import Take, held
from charprobe.profile.entry import Entry, unmeasured
from charprobe.stimulus.kinds.segment import S, SegmentOf, Spec


class Reduction(Protocol):
    """What the static curve knows: settled gain reduction at an input level."""

    def reduction_db_at(self, input_dbfs: float) -> float | None:
        """Reduction in dB (positive) at a level on the input axis, None where it is not known."""

    @property
    def level_std_db(self) -> float:
        """Standard uncertainty of any level over the input axis: the axis itself, and what drifted."""

    @property
    def unfinished_db(self) -> float:
        """How well the gain of a tone is known where steps up, as long as it, do not settle; else 0."""

    @property
    def slow_db(self) -> float:
        """Standard uncertainty of a tone of 1 kHz for a store slower than tones; 0 where none shows."""

    @property
    def restless_db(self) -> float:
        """What even quiet steps had left to go, where hardly any step settled; else 0."""

    def steepness_at(self, input_dbfs: float) -> float:
        """How many dB the settled gain rises by with each dB of level; 0 beyond the steps."""


def counterpart(bypass: Take | None, segment: SegmentOf[S]) -> SegmentOf[S] | None:
    """Return the same segment in the bypass capture, None if it has none or does not hold it."""
    if bypass is None:
        return None
    return next((s for s in held(bypass, type(segment.spec)) if s.spec == segment.spec), None)


def absent(take: Take, kind: type[Spec], names: Iterable[str], *, recipe: str) -> dict[str, Entry]:
    """Say of every name why a missing segment leaves it unmeasured.

    Parameters
    ----------
    take : Take
        The capture.
    kind : type of Spec
        The segment kind that would be needed.
    names : iterable of str
        Quantities.
    recipe : str
        A shipped recipe that has such a segment.
    """
    of_kind = take.stimulus.of_kind(kind)
    if any(take.spoils(segment) for segment in of_kind):
        reason = f"its {kind.kind} segment is spoiled: see what was found wrong with the capture"
        following = "mend that and retake"
    elif of_kind:
        reason = f"the capture ends before, or begins after, its {kind.kind} segment"
        following = "record the whole stimulus, from its first sample to its last"
    else:
        reason = f"the recipe has no {kind.kind} segment"
        following = f"a capture of the recipe {recipe}"
    return unmeasured(names, reason, following)
