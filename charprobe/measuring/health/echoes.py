"""One cause, one finding: what a fault looks like to checks for something else is folded into it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from charprobe.profile.entry import Health

# codes that a fault brings with it, where it is told itself; lost samples stay findings of their own
ECHOES = {
    "lossy-coded": {"few-bits", "idle-mute", "rate-converted", "click", "level-drift"},
    "rate-converted": {"click", "level-drift"},
    "few-bits": {"idle-mute"},
    "spur": {"idle-mute", "lossy-coded", "gain-step", "level-drift"},
    "foreign-noise": {"idle-mute", "lossy-coded", "click", "gain-step"},
    "hum": {"idle-mute"},
}


def folded(found: Sequence[Health]) -> tuple[Health, ...]:
    """Return the findings about one channel without echoes: the cause names them and withholds what they did.

    Notes are no causes, and neither is a steady foreign tone: of spurs, only sounds that begin at some time.
    """
    causes = {item.code for item in found if _brings(item)}
    # what is itself an echo brings none
    causes -= {code for code in causes if any(code in ECHOES[other] for other in causes)}
    heard: dict[str, list[Health]] = {code: [] for code in causes}
    kept = []
    for item in found:
        cause = next((code for code in causes if item.code in ECHOES[code]), None)
        if cause is None or item.severity == "note":
            kept.append(item)
        else:
            heard[cause].append(item)
    return tuple(_with_echoes(item, heard.pop(item.code, []) if _brings(item) else []) for item in kept)


def _brings(item: Health) -> bool:
    return (
        item.code in ECHOES and item.severity != "note" and (item.code != "spur" or item.start_s is not None)
    )


def _with_echoes(item: Health, echoes: Sequence[Health]) -> Health:
    if not echoes:
        return item
    names = ", ".join(dict.fromkeys(echo.code for echo in echoes))
    withholds = dict.fromkeys((*item.withholds, *(name for echo in echoes for name in echo.withholds)))
    message = f"{item.message}. Explained by it, as far as can be told: {names}"
    return replace(item, message=message, withholds=tuple(withholds))
