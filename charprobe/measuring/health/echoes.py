"""One cause, one finding: what a fault looks like to checks for something else is folded into it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace

from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.values.wording import clock_text

# codes that a fault brings with it, where it is told itself; lost samples stay findings of their own
ECHOES = {
    "lossy-coded": {"few-bits", "idle-mute", "rate-converted", "click", "level-drift"},
    "rate-converted": {"click", "level-drift", "diffuse-tail"},
    "few-bits": {"idle-mute", "clipped-below-full-scale"},
    "spur": {"idle-mute", "lossy-coded", "gain-step", "level-drift"},
    "foreign-noise": {"idle-mute", "lossy-coded", "click", "gain-step"},
    "hum": {"idle-mute"},
}
# only within the time the cause names
WHILE_IT_SOUNDS = {"spur": {"click", "dropout"}, "foreign-noise": {"dropout"}}
NEAR_S = 0.2
OF_THE_PLACE = re.compile(r"'[^']*'|[-+−]?\d[\d.:]*")  # what differs from place to place: names and figures
MOST_PLACES = 6  # named one by one


def folded(found: Sequence[Health]) -> tuple[Health, ...]:
    """Return the findings about one channel without echoes: the cause names them and withholds what they did.

    Notes are no causes, and neither is a steady foreign tone or rumble: only sounds that begin at some time.
    """
    causes = [item for item in found if _brings(item)]
    # what is itself an echo brings none
    causes = [one for one in causes if not any(_explains(other, one) for other in causes)]
    heard: dict[int, list[Health]] = {id(cause): [] for cause in causes}
    kept = []
    for item in found:
        cause = next((cause for cause in causes if _explains(cause, item)), None)
        if cause is None or item.severity == "note":
            kept.append(item)
        else:
            heard[id(cause)].append(item)
    return tuple(_with_echoes(item, heard.get(id(item), [])) for item in kept)


def _explains(cause: Health, item: Health) -> bool:
    if item.code in ECHOES[cause.code]:
        return True
    timed = None not in (cause.start_s, cause.end_s, item.start_s)
    if not timed or item.code not in WHILE_IT_SOUNDS.get(cause.code, ()):
        return False
    assert cause.start_s is not None and cause.end_s is not None and item.start_s is not None
    return cause.start_s - NEAR_S <= item.start_s <= cause.end_s + NEAR_S


def _brings(item: Health) -> bool:
    return (
        item.code in ECHOES
        and item.severity != "note"
        and (item.code not in ("spur", "foreign-noise") or item.start_s is not None)
    )


def _with_echoes(item: Health, echoes: Sequence[Health]) -> Health:
    if not echoes:
        return item
    names = ", ".join(dict.fromkeys(echo.code for echo in echoes))
    withholds = dict.fromkeys((*item.withholds, *(name for echo in echoes for name in echo.withholds)))
    message = item.message
    if len(withholds) > len(item.withholds):
        message = message.replace(ALL_GIVEN, "What it spoils is not given, the rest is marked")
    message = f"{message}. Explained by it, as far as can be told: {names}"
    return replace(item, message=message, withholds=tuple(withholds))


def together(found: Iterable[Health]) -> tuple[Health, ...]:
    """Return findings of the same words but for names and figures as one: the first, and where else."""
    alike: dict[tuple[object, ...], list[Health]] = {}
    for item in found:
        words = OF_THE_PLACE.sub("", item.message)
        alike.setdefault((item.code, item.severity, item.channel, item.start_s is None, words), []).append(
            item
        )
    return tuple(_as_one(items) for items in alike.values())


def _as_one(items: Sequence[Health]) -> Health:
    first, *others = items
    if not others or first.start_s is None:
        return first
    places = ", ".join(clock_text(item.start_s or 0.0) for item in others[:MOST_PLACES])
    more = f" and {len(others) - MOST_PLACES} times more" if len(others) > MOST_PLACES else ""
    end_s = max(item.end_s or item.start_s or 0.0 for item in items)
    return replace(
        first,
        message=f"{first.message.rstrip('.')}. Again at {places}{more}, until {clock_text(end_s)}",
        end_s=end_s,
        withholds=tuple(dict.fromkeys(name for item in items for name in item.withholds)),
    )
