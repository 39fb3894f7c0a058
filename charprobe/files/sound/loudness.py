"""Programme loudness by ITU-R BS.1770, loudness range by EBU Tech 3342: streamed, with flat memory."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.files.sound.frames import BLOCK_FRAMES, Frames, frame_blocks
from charprobe.files.sound.sections import Sections
from charprobe.files.sound.source import Source
from charprobe.values.arrays import Array
from charprobe.values.quantity import Unmeasured

OFFSET_DB = -0.691
ABSOLUTE_GATE_LUFS = -70.0
ATOMS_PER_S = 100  # energies are kept per 10 ms, so a maximum is met wherever the sound starts
MOMENTARY_S, SHORT_TERM_S = 0.4, 3.0
LOOK, EVERY = 128, 512  # samples of each spectrum of an estimate, and from one to the next
_TABLE_HZ = 48_000
_TABLE = np.array(  # ITU-R BS.1770-5, tables 1 and 2, for 48 kHz
    [
        [1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0, -1.69065929318241, 0.73248077421585],
        [1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621],
    ]
)
_NEXT = "take a longer or louder excerpt"
_SURROUND = 1.41  # weight of a surround channel in 5.0 order: left, right, centre, left and right surround


@dataclass(frozen=True)
class Loudness:
    """How loud a programme is: gated loudness of the whole, and loudness range.

    Not measured when no 400 ms block lies above -70 LUFS, or none fits; the range needs 3 s above the gates.
    """

    integrated_lufs: float | Unmeasured
    range_lu: float | Unmeasured


def k_weighting(rate_hz: int) -> Array:
    """Return the K-weighting as two second-order sections, shape (2, 6), for 8000 Hz or more.

    The standard tabulates 48 kHz only. Each section is taken back to the s plane by the inverse bilinear map,
    scaled so that its corner keeps its frequency, and mapped again for the new rate. At 48 kHz the table
    itself results.
    """
    if rate_hz < 8000:
        raise ValueError(f"K-weighting needs a sampling rate of at least 8000 Hz, got {rate_hz}")
    return np.array([_at_rate(section, rate_hz) for section in _TABLE])


def _at_rate(section: Array, rate_hz: int) -> Array:
    if rate_hz == _TABLE_HZ:
        return section
    # z^-1 = (1 - s)/(1 + s): b0 (1+s)^2 + b1 (1-s^2) + b2 (1-s)^2, collected by powers of s
    up, down = _mapped(section[:3]), _mapped(section[3:])
    corner = np.sqrt(down[0] / down[2])
    corner_hz = np.arctan(corner) * _TABLE_HZ / np.pi
    scale = corner / np.tan(np.pi * corner_hz / rate_hz)
    powers = scale ** np.arange(3)
    top, bottom = _mapped(up * powers), _mapped(down * powers)
    return np.asarray(np.concatenate([top, bottom]) / bottom[0])


def _mapped(powers: Array) -> Array:
    """Powers of z^-1 to those of s, or back: the map is its own inverse but for a factor."""
    b0, b1, b2 = powers
    return np.array([b0 + b1 + b2, 2 * (b0 - b2), b0 - b1 + b2])


def channel_weights(channels: int) -> Array:
    """Return the weight of each channel: 1, and 1.41 for the two surrounds of a five-channel programme."""
    weights = np.ones(channels)
    if channels == 5:
        weights[3:] = _SURROUND
    return weights


class LoudnessMeter:
    """Loudness of sound that arrives block by block.

    Parameters
    ----------
    rate_hz : int
        Sampling rate, at least 8000.
    weights : sequence of float
        Weight of each channel; see `channel_weights`.

    Examples
    --------
    >>> tone = 10 ** (-23 / 20) * np.sin(2 * np.pi * 1000 * np.arange(480_000) / 48_000)
    >>> meter = LoudnessMeter(rate_hz=48_000, weights=[1.0, 1.0])
    >>> meter.add(np.stack([tone, tone], axis=1))
    >>> round(meter.result().integrated_lufs, 2)
    -22.99
    """

    def __init__(self, *, rate_hz: int, weights: Sequence[float] | Array) -> None:
        self._rate_hz = rate_hz
        self._weights = np.asarray(weights, dtype=float)
        self._weighting = Sections(k_weighting(rate_hz), channels=self._weights.size)
        self._seen = 0
        self._rest = np.zeros((0, self._weights.size))
        self._atoms: list[Array] = []

    def add(self, block: Array) -> None:
        """Take the next frames, shape (n, channels)."""
        weighted = self._weighting.filtered(block)
        power = np.concatenate([self._rest, np.square(weighted, out=weighted)])
        first = self._seen - len(self._rest)
        self._seen += block.shape[0]
        opening, closing = -(-first * ATOMS_PER_S // self._rate_hz), self._seen * ATOMS_PER_S // self._rate_hz
        edges = np.arange(opening, closing + 1) * self._rate_hz // ATOMS_PER_S - first
        if edges.size < 2:
            self._rest = power
            return
        sums = np.add.reduceat(power[: edges[-1]], edges[:-1], axis=0)
        self._atoms.append(sums @ self._weights * ATOMS_PER_S / self._rate_hz)
        self._rest = power[edges[-1] :]

    def sliding(self, window_s: float) -> Array:
        """Return the loudness, in LUFS, of every window that starts on a 10 ms mark; silence is -inf."""
        atoms = np.concatenate([*self._atoms, np.zeros(0)])
        count = round(window_s * ATOMS_PER_S)
        if atoms.size < count:
            return np.zeros(0)
        running = np.concatenate([[0.0], np.cumsum(atoms)])
        mean = np.maximum(running[count:] - running[:-count], 0.0) / count
        with np.errstate(divide="ignore"):
            return np.asarray(OFFSET_DB + 10 * np.log10(mean))

    def result(self) -> Loudness:
        """Return the loudness of everything taken so far."""
        momentary, short_term = self.sliding(MOMENTARY_S), self.sliding(SHORT_TERM_S)
        return Loudness(
            integrated_lufs=_integrated(momentary[:: ATOMS_PER_S // 10]),
            range_lu=_loudness_range(short_term[:: ATOMS_PER_S // 10]),
        )


def measure_loudness(source: Frames) -> Loudness:
    """Measure the loudness of a whole source."""
    meter = LoudnessMeter(rate_hz=source.rate_hz, weights=channel_weights(source.channels))
    for block in frame_blocks(source):
        meter.add(block)
    return meter.result()


def estimate_loudness(source: Source) -> float:
    """Estimate the integrated loudness in LUFS to 0.3 LU or better, at little cost; -inf in silence.

    Spectra of a quarter of the sound are weighed instead of all samples filtered, and blocks lie up to 5 ms
    beside the standard's.
    """
    turn = np.exp(-2j * np.pi * np.arange(LOOK // 2 + 1) / LOOK)
    powers = np.stack([np.ones_like(turn), turn, turn**2])
    up, down = (
        np.prod(np.abs(part @ powers) ** 2, axis=0) for part in np.hsplit(k_weighting(source.rate_hz), 2)
    )
    window = np.hanning(LOOK)
    weights = 2 * up / down / (LOOK * float(window @ window))
    weights[0] /= 2
    window, weights = window.astype(np.float32), weights.astype(np.float32)  # half the cost, and exact enough
    heard = np.zeros(source.frames // EVERY)
    for channel, weight in enumerate(channel_weights(source.channels)):
        for number, block in enumerate(source.blocks(channel, BLOCK_FRAMES)):
            looks = block[: block.size // EVERY * EVERY].reshape(-1, EVERY)[:, :LOOK]
            spectrum = np.fft.rfft(looks.astype(np.float32) * window, axis=1)
            first = number * (BLOCK_FRAMES // EVERY)
            power = (spectrum.real**2 + spectrum.imag**2) @ weights
            heard[first : first + power.size] += weight * power
    running = np.cumsum(np.concatenate([[0.0], heard]))
    count = max(1, round(MOMENTARY_S * source.rate_hz / EVERY))
    with np.errstate(divide="ignore"):
        momentary = OFFSET_DB + 10 * np.log10(np.maximum(running[count:] - running[:-count], 0.0) / count)
    found = _integrated(momentary)
    return found if isinstance(found, float) else -np.inf


def _mean_lufs(values: Array) -> float:
    return float(10 * np.log10(np.mean(10 ** (values / 10))))


def _gated(values: Array, *, below_lu: float) -> Array:
    loud = values[values > ABSOLUTE_GATE_LUFS]
    return loud[loud > _mean_lufs(loud) - below_lu] if loud.size else loud


def _integrated(momentary: Array) -> float | Unmeasured:
    kept = _gated(momentary, below_lu=10.0)
    if kept.size:
        return _mean_lufs(kept)
    found = "shorter than one 400 ms block" if momentary.size == 0 else "never above -70 LUFS"
    return Unmeasured("LUFS", f"the sound is {found}: gating leaves none", "use a longer or louder excerpt")


def _loudness_range(short_term: Array) -> float | Unmeasured:
    kept = _gated(short_term, below_lu=20.0)
    if kept.size == 0:
        return Unmeasured("LU", "no 3 s of sound lie above the gates", _NEXT)
    low, high = np.percentile(kept, [10, 95])
    return float(high - low)
