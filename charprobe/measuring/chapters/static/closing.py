"""Steps below those in use that came back far too low, or not at all: a gate that closes into the noise."""

from __future__ import annotations

from dataclasses import dataclass

from charprobe.estimators.static.curve import LEVEL_DB, StaticCurve
from charprobe.estimators.static.level_steps import LevelStepsFit
from charprobe.estimators.static.points import USABLE_STD_DB
from charprobe.values.quantity import DB_PER_NEPER, Quantity

CLOSED_DB = 3.0  # by which a gain must lie below that of the lowest step in use
SURE = 4.0  # standard uncertainties by which it must, and that a step must rise above the noise to be read
APART_DB = 12.0  # by which a gate may open above where it closes


@dataclass(frozen=True)
class Closing:
    """The highest step that came back closed and the lowest that came back open above it.

    Attributes
    ----------
    shut_dbfs, open_dbfs : float
        Their levels on the input axis.
    shut_db : float or None
        Highest gain of a closed step; None if none can be read.
    open_db : float
        Gain of the open one.
    """

    shut_dbfs: float
    open_dbfs: float
    shut_db: float | None
    open_db: float

    @property
    def threshold(self) -> Quantity:
        """Input level between them, in dBFS: the interval reaches from one to the other."""
        return Quantity((self.shut_dbfs + self.open_dbfs) / 2, self.shut_dbfs, self.open_dbfs, "dBFS")


def closing_of(curve: StaticCurve, fit: LevelStepsFit) -> Closing | None:
    """Find where the steps in use end because the sound does; None if they do not."""
    levels, gains, stds = curve.means
    if not levels.size:
        return None
    lowest, path_db = float(levels[0]), curve.points[0].input_dbfs - fit.steps[0].tone.level_dbfs
    closed = [
        (point.input_dbfs, point.gain_db)
        for point in curve.points
        if point.input_dbfs < lowest + APART_DB
        and point.std_db > USABLE_STD_DB  # noise took it, not a gain that still moved
        and abs(point.remaining_db) < point.std_db
        and point.gain_db + SURE * point.std_db < gains[0] - CLOSED_DB
    ]
    silent = [
        level + path_db
        for level in fit.hidden_dbfs
        if float(stds[0]) * 10 ** ((lowest - level - path_db + CLOSED_DB) / 20) < DB_PER_NEPER / SURE
    ]
    shut = max([level for level, _ in closed] + silent, default=None)
    above = [i for i, level in enumerate(levels) if shut is not None and level > shut + LEVEL_DB]
    if shut is None or not above:
        return None
    most = max((gain for _, gain in closed), default=None)
    return Closing(shut, float(levels[above[0]]), most, float(gains[above[0]]))
