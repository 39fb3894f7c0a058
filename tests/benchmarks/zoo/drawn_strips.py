"""Strips that nobody wrote: stages of the zoo one behind the other, drawn as their parameters are."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import reduce

import numpy as np

from tests.benchmarks.zoo.declared import Declared
from tests.benchmarks.zoo.stage import Array, Output, Stage, factor

Process = Callable[[Array, int], Output]
LEVEL_DB = 6.0  # that strips are set louder or softer before their first part


def drawn_strips(stages: Mapping[str, Stage], seed: int, count: int) -> dict[str, Stage]:
    """So many strips of two or three parts: a cell that moves the gain, what is before it, what is behind it."""
    rng = np.random.default_rng([seed, count])
    paths = [
        name for name, one in stages.items() if isinstance(one, Declared) and one.kind in ("colour", "plain")
    ]
    cells = [name for name, one in stages.items() if one.trace_is_gain]
    strips = []
    for number in range(count):
        kind = rng.integers(4)
        parts = [
            *([str(rng.choice(paths))] if kind in (0, 2) else []),
            str(rng.choice(cells)),
            *([str(rng.choice(paths))] if kind in (1, 2) else []),
            *([str(rng.choice(cells))] if kind == 3 else []),
        ]
        trim = float(rng.uniform(-LEVEL_DB, LEVEL_DB))
        strips.append(_strip(f"drawn-{seed}-{number + 1}", [stages[name] for name in parts], trim))
    return {strip.name: strip for strip in strips}


def _set(gain_db: float) -> Process:
    return lambda sound, rate: Output(sound * factor(np.array(gain_db)), None)


def _behind(first: Process, second: Process) -> Process:
    return lambda sound, rate: Output(second(first(sound, rate).sound, rate).sound, None)


def _strip(name: str, parts: Sequence[Stage], trim_db: float) -> Stage:
    late_s = sum(part.late_s for part in parts)
    ahead_s = sum(part.late_s if part.ahead_s is None else part.ahead_s for part in parts)
    return Stage(
        name,
        f"{' into '.join(part.name for part in parts)}, {trim_db:+.1f} dB ahead",
        reduce(_behind, [_set(trim_db), *(part.process for part in parts)]),
        late_s=late_s,
        warm_s=sum(part.warm_s for part in parts),
        calm_s=sum(part.calm_s for part in parts),
        remembers_s=max(part.remembers_s for part in parts),
        unsteady_db=sum(part.unsteady_db for part in parts),
        ahead_s=None if ahead_s == late_s else ahead_s,
        turns_phase=any(part.turns_phase for part in parts),
    )
