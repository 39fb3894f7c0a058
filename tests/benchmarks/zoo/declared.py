"""A held-out stage whose author also says what kind of thing it is, and quantities that its parameters alone settle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from tests.benchmarks.zoo.stage import Stage

Kind = Literal["compressor", "limiter", "expander", "colour", "plain"]


@dataclass(frozen=True)
class Declared(Stage):
    """A stage, the kind its author built, and closed forms of quantities by their names in a profile."""

    kind: Kind = "plain"
    true: Mapping[str, float] = field(default_factory=dict)
