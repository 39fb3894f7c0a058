"""Tones that go on while the gain moves: as even in the take that came back as they were played.

The gain turns every tone alike. One that is foretold from both sides of a moment, in size and phase, is found
there as the right gain leaves it; with the gain of another setting it still dips or rises with the gain. What
else sounds there has no phase in common with it, and on average neither adds nor takes away.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.stats import t as student

from charprobe.replica.cell import NO_TABLE, Passed, RunningCell
from charprobe.replica.parts import Cell
from charprobe.values.arrays import Array, Index

FRAME_S, HOPS = 0.02, 4  # hops in a frame; a tone is foretold from two frames on either side
LOWEST_HZ, HIGHEST_HZ = 300.0, 12_000.0
WEAK_DB, FAINT_DB = -15.0, -75.0  # re all sound: a stronger tone drives the detector itself
STEADY, ACROSS, TURN = 0.4, 0.5, 0.2  # most change of size from frame to frame, over the moment; of phase
CLEAR_DB, APART = 10.0, 3  # by which a tone stands out against bins so many away
COMMON = 0.1  # share of the peaks that are steady tones; by chance 0.4 % are
LEAST_TONES, LEAST_MOMENTS = 200, 3.0
MOMENT_S = 0.25  # what lies so near is one moment
LOUDER = 10 ** (10 / 20)  # a gain that hardly moves tells nothing: that of louder sound does
LEVERAGE = 0.9  # quantile of the gain's moves that no move counts for more than
TURNS = 8
BIAS = 0.2  # share that right gains showed in takes of bands and drums
CHANCE = 0.00135  # on either side, with which chance leads further off: three errors of many moments
MOST_BLOCKS = 64
EXAMPLE = 1 / 3
_NEPER_DB = 20 / np.log(10)


@dataclass(frozen=True)
class Unevenness:
    """What steady tones tell of the gain that was given back.

    Attributes
    ----------
    share, reach : float
        Share of the gain's moves with which tones dip where the gain does: above 0 the stage took more than
        was given back, below 0 less; and how far chance and bands that play together lead off, infinite where
        too few tones go on.
    moves : float
        Standard deviation of the gain's moves in neper, by the energy of the result.
    """

    share: float
    reach: float
    moves: float

    @property
    def sure(self) -> bool:
        """Whether the gain that was given back is surely another than the stage's."""
        return abs(self.share) > self.reach

    @property
    def off_db(self) -> float:
        """Error over sound that this leaves, of what moves with the gain alone; very low where not sure."""
        return _error_db(abs(self.share) * self.moves) if self.sure else -np.inf

    @property
    def unseen(self) -> float:
        """Share that could be there and not show; an example of one where nothing tells."""
        return min(abs(self.share) + self.reach, EXAMPLE)

    @property
    def unseen_db(self) -> float:
        """Error over sound that this would leave."""
        return _error_db(self.unseen * self.moves)


class SteadyTones:
    """Listens to what passes a cell that is taken back; asked at the end."""

    def __init__(self, cell: Cell, *, rate_hz: float, channels: int, blocks: int) -> None:
        self._louder = RunningCell(cell, rate_hz=rate_hz, channels=channels, table=NO_TABLE)
        self._size = 1 << round(np.log2(FRAME_S * rate_hz))
        self._hop = self._size // HOPS
        self._window = np.hanning(self._size)
        self._bins = slice(*(round(hz / rate_hz * self._size) for hz in (LOWEST_HZ, HIGHEST_HZ)))
        self._moment = round(MOMENT_S * rate_hz / self._hop)  # hops
        self._every, self._blocks, self._moments = max(1, blocks // MOST_BLOCKS), 0, 0
        self._sums = np.zeros((3, 2))  # of energy, times gain, times its square; the cell's own, and louder
        self._peaks = 0
        self._found: list[tuple[Index, Array, Array]] = []  # moment, change, moves of both gains

    def heard(self, passed: Passed) -> None:
        """Take what passes the cell next."""
        gains = np.stack([passed.gain_db, self._louder.play(passed.sound * LOUDER).gain_db]) / _NEPER_DB
        energy = passed.sound**2
        self._sums += [np.sum(energy * gains**power, axis=(1, 2)) for power in range(3)]
        self._blocks += 1
        if (self._blocks - 1) % self._every or len(energy) < (2 * HOPS + 1) * self._size:
            return
        for k, sound in enumerate(passed.sound.T):
            self._listen(sound, gains[:, :, k])
        self._moments += len(energy) // (self._hop * self._moment) + 1

    def _listen(self, sound: Array, gains: Array) -> None:
        def framed(samples: Array) -> Array:
            return np.lib.stride_tricks.sliding_window_view(samples, self._size)[:: self._hop]

        levels = np.stack([framed(gain) @ self._window for gain in gains], axis=1) / self._window.sum()
        moves = levels[2 * HOPS : -2 * HOPS] - (levels[HOPS : -3 * HOPS] + levels[3 * HOPS : -HOPS]) / 2
        spectra = np.fft.rfft(framed(sound) * self._window, axis=1)
        whole = np.log(np.sum(np.abs(spectra) ** 2, axis=1) + 1e-20)[2 * HOPS : -2 * HOPS, None] / 2
        tones, count = spectra[:, self._bins], len(spectra) - 4 * HOPS
        first, before, now, after, last = (tones[i * HOPS : i * HOPS + count] for i in range(5))
        sizes = [np.log(np.abs(one) + 1e-9) for one in (first, before, after, last)]
        rises = [two - one for one, two in pairwise(sizes)]
        mean = (sizes[1] + sizes[2]) / 2
        peak = np.zeros(mean.shape, dtype=bool)
        peak[:, 1:-1] = (mean[:, 1:-1] > mean[:, :-2]) & (mean[:, 1:-1] > mean[:, 2:])
        for size in sizes[1:3]:
            for apart in (-APART, APART):
                peak &= size - np.roll(size, apart, axis=1) > CLEAR_DB / _NEPER_DB
        for rise, most in zip(rises, (STEADY, ACROSS, STEADY), strict=True):
            peak &= np.abs(rise) < most
        peak &= (mean - whole < WEAK_DB / _NEPER_DB) & (mean - whole > FAINT_DB / _NEPER_DB)
        first, before, now, after, last = (one[peak] for one in (first, before, now, after, last))
        turns = before * first.conj(), after * before.conj(), last * after.conj()
        even = np.abs(np.angle(turns[0] * turns[2].conj())) < TURN
        even &= np.abs(np.angle(turns[0] * turns[2] * turns[1].conj())) < TURN
        # half of the turn across the moment, that of either side deciding between two
        half = np.sqrt(turns[1] / np.maximum(np.abs(turns[1]), 1e-30))
        half = np.where((half * turns[0].conj()).real < 0, -half, half)
        foretold = np.exp(mean[peak]) * half * before / np.maximum(np.abs(before), 1e-30)
        change = np.clip((now / foretold).real - 1, -1, 1)[even]
        at = np.nonzero(peak)[0][even]
        self._peaks += int(peak.sum())
        self._found.append((self._moments + at // self._moment, change, moves[at]))

    def told(self) -> Unevenness:
        """What the tones of all that was heard tell, by the gain that moves more."""
        energy, mean, square = self._sums
        spreads = np.sqrt(np.maximum(square / energy - (mean / energy) ** 2, 0.0))
        nothing = Unevenness(0.0, np.inf, float(spreads[0]))
        if not self._found:
            return nothing
        moment, change, both = (np.concatenate(part) for part in zip(*self._found, strict=True))
        if change.size < max(LEAST_TONES, COMMON * self._peaks):
            return nothing
        more = int(np.argmax(both.std(axis=0)))
        share, std, moments = _slope(change, both[:, more], moment)
        if moments < LEAST_MOMENTS:
            return nothing
        reach = BIAS + float(student.isf(CHANCE, moments - 1)) * std
        return Unevenness(share, reach, float(spreads[more]))


def _slope(change: Array, moves: Array, moment: Index) -> tuple[float, float, float]:
    """Change for a move, its standard error by moments, and how many of these bear it.

    Weighted by how well each tone fits, and no move counts for more than most do.
    """
    off = moves - np.median(moves)
    most = np.quantile(np.abs(off), LEVERAGE)
    counted, weight = np.clip(off, -most, most), np.ones(change.size)
    if most < 1e-6:
        return 0.0, np.inf, 0.0
    slope, left, lever, own = 0.0, change, off, off
    for _ in range(TURNS):
        lever, bent, own = (one - np.average(one, weights=weight) for one in (counted, change, off))
        slope = float(np.sum(weight * lever * bent) / np.sum(weight * lever * own))
        left = bent - slope * own
        weight = 1 / (1 + (left / (1.5 * np.median(np.abs(left)) + 1e-3)) ** 2)
    borne = np.bincount(moment, weight * lever * own)
    share = borne / borne.sum()
    apart = np.bincount(moment, weight * lever * left) / (1 - np.minimum(share, LEVERAGE))
    return slope, float(np.sqrt(np.sum(apart**2)) / borne.sum()), float(1 / np.sum(share**2))


def _error_db(moves: float) -> float:
    return float(20 * np.log10(max(moves, 1e-9)))
