"""One pass over the finished profile: numbers that deny each other are taken back, and it is said why."""

from __future__ import annotations

from collections.abc import Mapping

from charprobe.measuring.consistency.colour import distortion_of_tones, gain_of_tones, ripple_of_times
from charprobe.measuring.consistency.readings import Readings, Rule
from charprobe.measuring.consistency.static import gain_of_steps, slope_of_steps
from charprobe.measuring.consistency.timing import ordered_times, sure_times, times_of_trace
from charprobe.profile import glossary
from charprobe.profile.entry import Entry, Health, Published, Table
from charprobe.values.quantity import Unmeasured

CODE = "contradiction"
MOST_NAMED = 4  # quantities named in a message; the finding itself holds all
RULES: tuple[Rule, ...] = (
    ordered_times,
    sure_times,
    times_of_trace,
    slope_of_steps,
    gain_of_steps,
    ripple_of_times,
    distortion_of_tones,
    gain_of_tones,
)
"""Every rule, in the order in which they are asked; a later one sees what earlier ones left."""


def reconciled(
    published: Published, curves: Mapping[str, Table]
) -> tuple[dict[str, Entry], tuple[Health, ...]]:
    """Take back what contradicts itself, rule by rule, and tell it.

    Parameters
    ----------
    published : mapping of str to Entry
        Every reading after health has withheld its own.
    curves : mapping of str to Table
        All curves.

    Returns
    -------
    dict of str to Entry
        The readings that may be published.
    tuple of Health
        One ``contradiction`` per rule that fired, naming what it withholds.
    """
    kept, health = dict(published), []
    for rule in RULES:
        for found in rule(Readings(kept, curves)):
            names = tuple(name for name in found.takes_back if name in kept)
            message = f"{found.message}; {_titles(names)} not given. The rest is kept"
            health.append(Health(CODE, "warn", message, withholds=names))
            for name in names:
                reading = Unmeasured(
                    glossary.term(name).unit, f"{CODE}: {found.message}", "see the curves", found.at_most
                )
                kept[name] = Entry(reading, kept[name].conditions)
    return kept, tuple(health)


def _titles(names: tuple[str, ...]) -> str:
    titles = [glossary.term(name).title for name in names]
    if len(titles) > MOST_NAMED:
        titles[MOST_NAMED - 1 :] = [f"{len(titles) - MOST_NAMED + 1} more"]
    return ", ".join(titles) + (" is" if len(names) == 1 else " are")
