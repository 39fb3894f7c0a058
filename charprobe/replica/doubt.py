"""How far a take that was computed back may be off: the same walk with other numbers and other noise."""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter
from scipy.stats import f as fisher

from charprobe.replica.model import Replica
from charprobe.values.arrays import Array

WINDOW_S = 0.25
_PACE_HZ = 5.0  # how fast the gain that the replica does not explain wanders
_STEP = 64  # samples between which it wanders straight
_CHUNK = 1 << 13
_EVERY = 4  # chunks of which one is looked at by band
_EDGES_HZ = (0.0, 44.0, 88.0, 177.0, 355.0, 710.0, 1420.0, 2840.0, 5680.0, 11_360.0, 1e9)
_SEED = 20_250


class Perturbed:
    """The printed sound beside copies of it that differ as the replica's own doubt would let them.

    Each copy goes with numbers drawn from the posterior, gets the noise of the recording once more, and a
    wandering gain whose energy is that of the residual on unseen programme; or of the own error of the model
    in the worst moment there, for what one sound shows for a moment another may show all along.
    """

    def __init__(self, replica: Replica, *, rate_hz: float, bits: int, draws: int) -> None:
        self._rng = np.random.default_rng(_SEED)
        self.chains = (replica.chain, *replica.drawn(draws, self._rng))
        step = 2.0 ** (1 - min(bits, 24)) / np.sqrt(12)
        self.noise = float(np.hypot(10 ** (replica.noise_dbfs / 20) / np.sqrt(2), step))
        moments = (max(one.residual_db, one.worst_own_db) for one in replica.proofs)
        self._wander = 10 ** (max(moments, default=replica.unheard_db) / 20)
        self._pole = float(np.exp(-2 * np.pi * _PACE_HZ * _STEP / rate_hz))
        self._state = self._rng.standard_normal((1, draws)) * self._pole  # as if it had always wandered
        self._last = self._state[0]
        self._draws = draws

    def bundle(self, block: Array) -> Array:
        """Return a block and its copies side by side, shape (n, (1 + draws) * channels)."""
        wander = self._wandered(block.shape[0])
        copies = [
            block * (1 + self._wander * wander[:, k : k + 1])
            + self.noise * self._rng.standard_normal(block.shape, dtype=np.float32)
            for k in range(self._draws)
        ]
        return np.concatenate([block, *copies], axis=1)

    def _wandered(self, count: int) -> Array:
        """The next samples of a slow walk of variance 1, straight between steps; shape (count, draws)."""
        steps = -(-count // _STEP)
        push = np.sqrt(1 - self._pole**2) * self._rng.standard_normal((steps, self._draws))
        walked, self._state = lfilter([1.0], [1.0, -self._pole], push, axis=0, zi=self._state)
        ends = np.vstack([self._last, walked])
        self._last = walked[-1]
        share = (np.arange(_STEP) / _STEP)[:, None]
        lines = ends[:-1, None] + share * np.diff(ends, axis=0)[:, None]
        return np.asarray(lines.reshape(-1, self._draws)[:count])


class Doubt:
    """Energies of the differences between a result and its copies, over time and by band."""

    def __init__(self, *, rate_hz: float, draws: int) -> None:
        self._rate_hz, self._draws = rate_hz, draws
        self._size = round(WINDOW_S * rate_hz)
        self._rows: list[Array] = []  # of whole windows: energy of the result, then of each difference
        self._open = np.zeros(draws + 1)
        self._filled = 0
        frequency = np.fft.rfftfreq(_CHUNK, 1 / rate_hz)
        self._band = np.searchsorted(_EDGES_HZ, frequency, side="right") - 1
        self._bands = np.zeros((len(_EDGES_HZ) - 1, draws + 1))
        # a copy and the truth are draws of one kind: their ratio is Fisher's, with one way of being off
        self._factor_db = float(10 * np.log10(fisher.ppf(0.95, 1, draws)))

    def add(self, result: Array, differences: list[Array], *, printed: Array) -> None:
        """Take the next samples, shape (n, channels) each."""
        parts = [result, *differences]
        energy = np.stack([np.sum(part**2, axis=1) for part in parts], axis=1)
        at = 0
        while at < energy.shape[0]:
            count = min(self._size - self._filled, energy.shape[0] - at)
            self._open += energy[at : at + count].sum(axis=0)
            self._filled, at = self._filled + count, at + count
            if self._filled == self._size:
                self._rows.append(self._open)
                self._open, self._filled = np.zeros(self._draws + 1), 0
        for start in range(0, result.shape[0] - _CHUNK + 1, _EVERY * _CHUNK):
            window = np.hanning(_CHUNK)[:, None]
            for k, part in enumerate(parts):
                power = (np.abs(np.fft.rfft(part[start : start + _CHUNK] * window, axis=0)) ** 2).sum(axis=1)
                self._bands[:, k] += np.bincount(self._band, power, minlength=len(self._bands))

    def _table(self) -> Array:
        rows = [*self._rows, *([self._open] if self._filled else [])]
        return np.array(rows).reshape(-1, self._draws + 1)

    def error_db(self) -> float:
        """Expected energy of the error over that of the result."""
        total = self._table().sum(axis=0)
        return float(10 * np.log10(max(total[1:].mean(), 1e-30) / max(total[0], 1e-30)))

    def bound_db(self) -> float:
        """The same, not exceeded with 95 % probability."""
        return self.error_db() + self._factor_db

    def over_time_db(self) -> tuple[Array, Array]:
        """Middle of each window in s, and the bound there; NaN where there is silence."""
        table = self._table()
        sounding = table[:, 0] > 1e-9 * table[:, 0].max(initial=0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            bound = 10 * np.log10(table[:, 1:].mean(axis=1) / table[:, 0]) + self._factor_db
        middles = np.arange(len(table), dtype=float) + 0.5
        return np.asarray(middles * WINDOW_S), np.asarray(np.where(sounding, bound, np.nan))

    def bands_db(self) -> tuple[tuple[float, float, float], ...]:
        """Edges in Hz and the bound of each octave with sound in it."""
        rows = []
        for k, (energy, *errors) in enumerate(self._bands.tolist()):
            if energy > 1e-8 * self._bands[:, 0].max():
                bound = 10 * np.log10(max(float(np.mean(errors)), 1e-30) / energy) + self._factor_db
                rows.append((_EDGES_HZ[k], min(_EDGES_HZ[k + 1], self._rate_hz / 2), float(bound)))
        return tuple(rows)
