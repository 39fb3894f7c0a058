"""Which burst condition the attack and release quantities of a profile speak of."""

from __future__ import annotations

import numpy as np

from charprobe.profile import Profile, measured


def reference_step(profile: Profile) -> int:
    """Return the row of "timing" that the quantities of a profile speak of: the one with their t63."""
    timing = profile.curves["timing"]
    for edge in ("attack", "release"):
        t63 = measured(profile, f"{edge}.t63")
        if t63 is not None:
            cells = timing.columns[f"{edge}_t63_s"]
            times = np.array([np.nan if cell is None else float(cell) for cell in cells])
            if np.isfinite(times).any():
                return int(np.nanargmin(np.abs(times - t63.value)))
    return 0
