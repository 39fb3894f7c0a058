"""Names of the two edges of a burst, as they stand in published names such as ``attack.t63``."""

from __future__ import annotations

from typing import Literal

Edge = Literal["attack", "release"]
"""At the rising edge the gain falls, the attack; at the falling edge it recovers, the release."""
