"""Whether a gain that should stay the same did: a step or an even drift between repeated tones."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from charprobe.values.arrays import Array
from charprobe.values.quantity import Z95

SURE = 4.0  # standard uncertainties; noise makes the surest of sixty places reach that once in 500 takes
FEWEST = 3  # references from which a step or drift can be told from scatter


@dataclass(frozen=True)
class GainDrift:
    """What moved between references.

    Attributes
    ----------
    kind : {"step", "drift"} or None
        One step or an even drift; None where neither stands out of the scatter.
    size_db : float
        Of the step, or of the drift from the first reference to the last; 0 where there is none.
    before_s, after_s : float
        Times of the references between which it stepped; of the first and the last one for a drift.
    std_db : float
        Standard uncertainty that this leaves for any level of the take: 1.96 of it reach over all that the
        step may be, or over the drift from the first sample of the take; where there is none, what a step
        could have been without standing out. Always over what references clearly differ by.
    explained : float
        Share of all that changed, beyond the references' own uncertainty, that the step or drift explains.
    """

    kind: Literal["step", "drift"] | None
    size_db: float
    before_s: float
    after_s: float
    std_db: float
    explained: float

    def std_until_db(self, time_s: float) -> float:
        """The same of a level at a time that may lie after the last reference: a drift goes on."""
        if self.kind != "drift" or time_s <= self.after_s:
            return self.std_db
        return self.std_db * time_s / self.after_s


STEADY = GainDrift(None, 0.0, 0.0, 0.0, 0.0, 0.0)


def gain_drift(time_s: Array, gain_db: Array, *, std_db: Array, group: Array) -> GainDrift:
    """Look for a step or drift in the gain of references.

    Parameters
    ----------
    time_s, gain_db, std_db : ndarray, shape (n,)
        When each reference sounded, counted from the first sample of the take; its gain and the standard
        uncertainty of that, above 0. Fewer than three, or all at one time, say nothing: `STEADY`.
    group : ndarray of int, shape (n,)
        References of one group would have one gain; groups may differ.

    Notes
    -----
    A step at every gap between references, and a straight line, are fitted beside the weighted means of the
    groups; the surest of them counts if it is `SURE`, scatter about it included.

    Examples
    --------
    >>> time_s = np.arange(20.0)
    >>> gain_db = np.where(time_s > 11, 0.1, 0.0)
    >>> found = gain_drift(time_s, gain_db, std_db=np.full(20, 0.001), group=np.zeros(20))
    >>> found.kind, round(found.size_db, 6), found.before_s, found.after_s
    ('step', 0.1, 11.0, 12.0)
    """
    order = np.argsort(time_s, kind="stable")
    time_s, gain_db, std_db, group = time_s[order], gain_db[order], std_db[order], group[order]
    if time_s.size < FEWEST or time_s[0] == time_s[-1]:
        return STEADY
    steps = (np.arange(time_s.size) >= np.arange(1, time_s.size)[:, None]).astype(float)
    line = (time_s - time_s[0]) / (time_s[-1] - time_s[0])
    rows = np.vstack([gain_db, steps, line])
    weight = std_db**-2
    groups = np.unique(group)
    for one in groups:
        inside = group == one
        rows[:, inside] -= (rows[:, inside] @ weight[inside] / weight[inside].sum())[:, None]
    residual, columns = rows[0], rows[1:]
    energy = np.maximum(columns**2 @ weight, 1e-12)  # a column that the groups take up is never sure
    size = columns @ (weight * residual) / energy
    explained = size**2 * energy
    left = float(weight @ residual**2) - explained
    dof = max(1, time_s.size - groups.size - 1)
    spread = np.sqrt(np.maximum(1.0, left / dof) / energy)
    best = int(np.argmax(np.abs(size) / spread))
    found, moved = float(size[best]), float(explained[best])
    first, last = float(time_s[0]), float(time_s[-1])
    scattered = weight @ residual**2 > SURE**2 * max(1, time_s.size - groups.size)
    clear = np.sign(residual) * np.maximum(np.abs(residual) - Z95 * std_db, 0)
    apart = float(np.ptp(clear)) / Z95 if scattered else 0.0
    if abs(found) < SURE * spread[best]:
        return GainDrift(None, 0.0, first, last, max(apart, float(spread[:-1].min())), 0.0)
    share = moved / (moved + max(0.0, float(left[best]) - dof))
    reach = max(apart, abs(found) / Z95 + float(spread[best]))
    if best == time_s.size - 1:
        return GainDrift("drift", found, first, last, reach * last / (last - first), share)
    return GainDrift("step", found, float(time_s[best]), float(time_s[best + 1]), reach, share)
