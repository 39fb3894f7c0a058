"""What was taken back: what is known of its error, and how it is said."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from charprobe.replica.lost import REASONS, LostStretches
from charprobe.values.arrays import Array
from charprobe.values.wording import number_text, time_text

MOST_SHOWN = 8  # stretches of a kind named in the text; JSON holds all


@dataclass(frozen=True)
class Unprinted:
    """What was taken back.

    Attributes
    ----------
    error_db : float
        Expected energy of the error over that of the dry take.
    bound_db : float
        The same, not exceeded in 95 % of takes.
    printed_db : float
        What the printed take misses, once it is turned to the same level, over the same energy.
    mean_reduction_db, most_reduction_db : float
        Reduction that was taken back, over the moments with sound.
    time_s, over_time_db : ndarray, shape (n,)
        Middle of each stretch of `doubt.WINDOW_S` and the bound there; NaN in silence.
    bands : tuple of (float, float, float)
        Octave bands: edges in Hz and the bound there.
    stretches : tuple of LostStretches
        What does not come back, left as printed but for the make-up gain.
    louder_db : float
        Peak of the result over the peak of the printed take.
    notes : tuple of str
        Plain sentences.
    """

    error_db: float
    bound_db: float
    printed_db: float
    mean_reduction_db: float
    most_reduction_db: float
    time_s: Array
    over_time_db: Array
    bands: tuple[tuple[float, float, float], ...]
    stretches: tuple[LostStretches, ...]
    louder_db: float
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return all of it as JSON holds it; null where there is silence."""
        over_time = [None if np.isnan(value) else value for value in self.over_time_db.tolist()]
        bands = [{"low_hz": low, "high_hz": high, "bound_db": bound} for low, high, bound in self.bands]
        plain = {key: value for key, value in vars(self).items() if isinstance(value, float)}
        return plain | {
            "over_time": {"time_s": self.time_s.tolist(), "bound_db": over_time},
            "bands": bands,
            "stretches": [asdict(one) for one in self.stretches],
            "notes": list(self.notes),
        }

    def text(self) -> str:
        """Return it in plain lines: error, worst moments and bands, what was left."""
        lines = [
            f"Taken back: {self.mean_reduction_db:.1f} dB on average, "
            f"{self.most_reduction_db:.1f} dB at most.",
            f"If it was printed with this setting, the error is about {number_text(self.error_db, 0)} dB "
            f"of the energy of the dry take, at most {number_text(self.bound_db, 0)} dB (95 %); the printed "
            f"take, turned to the same level, misses it by {number_text(self.printed_db, 0)} dB.",
        ]
        known = np.flatnonzero(~np.isnan(self.over_time_db))
        if known.size:
            worst = known[np.argmax(self.over_time_db[known])]
            lines.append(
                f"Worst moment: {number_text(float(self.over_time_db[worst]), 0)} dB at most, at "
                f"{time_text(float(self.time_s[worst]))}."
            )
        if self.bands:
            low, high, bound = max(self.bands, key=lambda band: band[2])
            lines.append(f"Worst band: {number_text(bound, 0)} dB at most, {low:.0f} to {high:.0f} Hz.")
        for reason in REASONS:
            some = [one for one in self.stretches if one.reason == reason]
            if some:
                total = sum(one.end_s - one.start_s for one in some)
                shown = ", ".join(
                    f"{time_text(one.start_s)}–{time_text(one.end_s)}" for one in some[:MOST_SHOWN]
                )
                more = f" and {len(some) - MOST_SHOWN} more" if len(some) > MOST_SHOWN else ""
                lines.append(f"Left as printed, {reason}: {total:.1f} s in all ({shown}{more}).")
        return "\n".join([*lines, *self.notes])
