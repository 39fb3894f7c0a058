"""Where a structure starts: with numbers that make it answer a burst as the structure it comes from does."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.ndimage import uniform_filter1d

from charprobe.replica.cell import gain_db
from charprobe.replica.fitting.structures import above
from charprobe.replica.parts import Bend, Cell
from charprobe.values.arrays import Array

TONE_HZ = 997.0
OVER_DB, UNDER_DB = 12.0, 20.0  # of the burst over the threshold, and of what is around it below
LEAD_S = 0.01
BURST_S, REST_S = (0.03, 0.5), (0.05, 2.0)  # shortest and longest
LASTING = 6.0  # times the time to be read
TIMED = 1 - np.exp(-1.0)
TURNS = 5
MOST = 4.0  # times by which a time moves in one turn
LEAST_SLOPE = 0.05
LEAST_DB = 0.5  # a burst that is reduced by less times nothing
ATTACK_S, RELEASE_S = (2e-5, 2.0), (1e-3, 20.0)


@dataclass(frozen=True)
class _Answer:
    reduction_db: float
    attack_s: float
    release_s: float


def answering_as(like: Cell, cell: Cell, *, rate_hz: float) -> Cell:
    """The cell with threshold, attack and release that answer a burst as another cell does.

    What a time constant or a threshold comes to depends on what the detector reads and what is smoothed: one
    that rises quickly and falls slowly over the ripple of a rectified tone reads near its peaks, and a level
    that falls evenly is a reduction that does not.

    Parameters
    ----------
    like : Cell
        The cell to answer like, with its first bend above its threshold; else `cell` comes back as it is.
    cell : Cell
        The cell to start.
    rate_hz : float > 0
        Sampling rate.
    """
    if cell == like or not like.bends or like.bends[0].side != "above" or like.bends[0].slope < LEAST_SLOPE:
        return cell
    below = cell.bends[len(above(cell)) :]  # which the burst does not reach
    like, cell = (replace(one, bends=above(one)) for one in (like, cell))
    burst, wanted = _answer_of(like, rate_hz)

    def behind(answer: _Answer) -> float:
        """How long it lets go once the cell's hold is over."""
        return max(answer.release_s - cell.smoothing.hold_s, 1 / rate_hz)

    if wanted.reduction_db < LEAST_DB:
        return replace(cell, bends=(*cell.bends, *below))
    for _ in range(TURNS):
        got = burst.answered_by(cell)
        steep = sum(bend.slope for bend in cell.bends)
        steep = steep / (1 + steep) if cell.loop == "feedback" else steep  # reduction per dB of threshold
        shift = float(np.clip((got.reduction_db - wanted.reduction_db) / max(steep, LEAST_SLOPE), -6, 6))
        held = cell.smoothing
        cell = replace(
            cell,
            bends=tuple(_moved(bend, shift) for bend in cell.bends),
            smoothing=replace(
                held,
                attack_s=_nearer(held.attack_s, wanted.attack_s / got.attack_s, ATTACK_S),
                release_s=_nearer(held.release_s, behind(wanted) / behind(got), RELEASE_S),
            ),
        )
    return replace(cell, bends=(*cell.bends, *below))


@lru_cache(maxsize=4)
def _answer_of(like: Cell, rate_hz: float) -> tuple[_Burst, _Answer]:
    """A burst that suits a cell, and its answer: many structures come from one."""
    burst = _Burst.for_cell(like, rate_hz)
    return burst, burst.answered_by(like)


def _moved(bend: Bend, shift_db: float) -> Bend:
    return replace(bend, threshold_dbfs=float(np.clip(bend.threshold_dbfs + shift_db, -100, 30)))


def _nearer(time_s: float, ratio: float, within: tuple[float, float]) -> float:
    return float(np.clip(time_s * np.clip(ratio, 1 / MOST, MOST), *within))


@dataclass(frozen=True)
class _Burst:
    sound: Array
    on: int
    off: int
    rate_hz: float

    @staticmethod
    def for_cell(like: Cell, rate_hz: float) -> _Burst:
        held = like.smoothing
        lengths = (
            LEAD_S,
            # over ripple a slow release has its say in where a tone settles
            float(np.clip(LASTING * held.attack_s + held.release_s, *BURST_S)),
            float(np.clip(LASTING * held.release_s, *REST_S)),
        )
        lead, on, rest = (round(length * rate_hz) for length in lengths)
        loud, quiet = (10 ** ((like.bends[0].threshold_dbfs + over) / 20) for over in (OVER_DB, -UNDER_DB))
        size = np.repeat([quiet, loud, quiet], [lead, on, rest])
        sound = size * np.sin(2 * np.pi * TONE_HZ * np.arange(size.size) / rate_hz)
        return _Burst(sound, lead, lead + on, rate_hz)

    def answered_by(self, cell: Cell) -> _Answer:
        """Reduction at the burst's end, and the times of 63 % of the way there and back."""
        gain = gain_db(replace(cell, lookahead_s=0.0), self.sound, rate_hz=self.rate_hz)
        even = uniform_filter1d(gain, round(self.rate_hz / TONE_HZ), mode="nearest")
        rest = float(even[: self.on].max())
        lowest = float(even[self.on + (self.off - self.on) * 4 // 5 : self.off].mean())
        reduction = rest - lowest
        down = (rest - even[self.on : self.off]) > TIMED * reduction
        back = (rest - even[self.off :]) < (1 - TIMED) * reduction
        return _Answer(reduction, *(self._first_s(there) for there in (down, back)))

    def _first_s(self, there: Array) -> float:
        """Seconds to the first sample that is there, at least one; the whole length if none is."""
        at = int(np.argmax(there)) if there.any() else there.size
        return max(at, 1) / self.rate_hz
