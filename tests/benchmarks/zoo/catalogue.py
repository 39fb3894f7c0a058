"""All stages of the zoo by name."""

from __future__ import annotations

from tests.benchmarks.zoo.compressors import COMPRESSORS
from tests.benchmarks.zoo.foreign import FOREIGN
from tests.benchmarks.zoo.saturators import SATURATORS
from tests.benchmarks.zoo.stage import Draw, Stage


def stages(seed: int | None = None) -> dict[str, Stage]:
    """Every stage; with a seed, those of our own making have parameters drawn around their usual ones."""
    makers = (*COMPRESSORS, *SATURATORS)
    own = [make(Draw(None if seed is None else 1000 * seed + number)) for number, make in enumerate(makers)]
    return {stage.name: stage for stage in (*own, *FOREIGN)}
