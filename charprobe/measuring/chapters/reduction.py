"""What other chapters ask of the static curve."""

from __future__ import annotations

from typing import Protocol


class Reduction(Protocol):
    """What the static curve knows: settled gain reduction at an input level."""

    def reduction_db_at(self, input_dbfs: float) -> float | None:
        """Reduction in dB (positive) at a level on the input axis, None where it is not known."""
