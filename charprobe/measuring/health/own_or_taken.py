"""What a stage may do itself is no stop where the bypass through the same path is free of it: a question."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from charprobe.profile.entry import ALL_GIVEN, Health

COPIES = {"two-paths", "diffuse-tail"}
OF_A_STAGE = dict.fromkeys(COPIES, COPIES) | {"lossy-coded": {"lossy-coded", "rate-converted"}}


def own_or_taken(found: Iterable[Health], of_bypass: Iterable[Health]) -> tuple[Health, ...]:
    """Return a capture's findings; a stop that a stage may bring itself, and the path did not, is asked.

    Echoes, rooms, companders and coarse words are built into stages, and one take cannot say whose they are.
    """
    by_path = {item.code for item in of_bypass if item.severity != "note"}
    return tuple(
        _asked(item)
        if item.severity == "stop" and item.code in OF_A_STAGE and not OF_A_STAGE[item.code] & by_path
        else item
        for item in found
    )


def _asked(item: Health) -> Health:
    what, _, _ = item.message.partition("): ")
    message = (
        f"{what}): the bypass through the same path is free of it. The stage's own, then the numbers are of "
        "the stage with it; or switched on, coded or mixed in on the way of this take alone, then mend that "
        f"and retake. {ALL_GIVEN}"
    )
    return replace(item, severity="warn", message=message, withholds=())
