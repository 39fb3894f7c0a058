"""The first line a stranger reads of a stage, against what its author built or its settled tones show."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from charprobe.profile.profile import Profile
from charprobe.publishing.portrait import portrait_of
from tests.benchmarks.zoo.declared import Kind
from tests.benchmarks.zoo.true_quantities import at_once
from tests.benchmarks.zoo.truth import Truth

CLEAR_DB, NOTHING_DB, CLEAN_DBC, COLOURED_DBC = 1.0, 0.03, -75.0, -55.0
WORDS: dict[Kind, str] = {
    "compressor": r"^(Compressor|Limiter|Over-compressor|It reduces|Upward compressor)",
    "limiter": r"^(Limiter|It reduces)",
    "expander": r"[Ee]xpander|^Its gain rises with level",
    "colour": r"^(Colour without compression|Its gain answers changes)",
    "plain": r"^(A plain path|Filter without|Its gain answers changes)",
}


def misnamed(profile: Profile, truth: Truth) -> Iterator[str]:
    """A headline that calls a stage something else; nothing where neither author nor tones settle what it is."""
    kind, said = truth.kind or kind_of(truth), portrait_of(profile).level
    if (
        kind is not None
        and said
        and not re.search(rf"{WORDS[kind]}|not known|depends on the frequency", said)
    ):
        yield f"headline '{said}' of what is {kind}"


def kind_of(truth: Truth) -> Kind | None:
    """What settled tones make of a stage; None where that leaves room for words."""
    burst = truth.bursts[truth.reference][0] if truth.reference else None
    flat, gain = truth.plateau, truth.gain_db
    if flat is None or burst is None or truth.unsteady_db:
        return None
    lost, thd = flat[0] - gain[-1], max(point.thd_dbc for point in truth.tones.values())
    takes_time = truth.trace_is_gain or not at_once(burst, truth.rate_hz)
    if lost > CLEAR_DB and takes_time and np.ptp(gain[:3]) < NOTHING_DB:
        return "compressor" if thd < COLOURED_DBC else None  # waves that are bent lose level, too
    if np.ptp(gain) < NOTHING_DB and abs(burst.settled.change_db) < NOTHING_DB:
        return "plain" if thd < CLEAN_DBC else "colour" if thd > COLOURED_DBC else None
    return None
