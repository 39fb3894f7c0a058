"""The course of every played tone through a capture: sums over short blocks, from which any stretch follows.

Each tone is read once, and tones alike of a segment together. Whoever asks for level, phase or rest of a
stretch adds up blocks and solves three equations, without a pass over the samples.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeVar

import numpy as np

from charprobe.placing.take import Take, once
from charprobe.stimulus.kinds.segment import Segment, Tone
from charprobe.values.arrays import Array, Complex, Index
from charprobe.values.phasor import phasor
from charprobe.values.quantity import DB_PER_NEPER

BLOCK_S, BLOCK_PERIODS = 0.002, 2  # what a block lasts, in whole periods
AFTER_EDGE_S, BEFORE_EDGE_S = 0.012, 0.006  # left out of a tone
AT_ONCE = 1 << 18  # samples that are read together
ROUNDING = 1e-13  # of the energy of a stretch: what is left below it is not known
Sums = TypeVar("Sums", float, Array)


@dataclass(frozen=True)
class Stretch:
    """A wave fitted beside an offset to a stretch of a tone.

    `samples` of the stretch, the wave's complex amplitude (turned back to the start of the tone as played),
    and the rest's root mean square. Not finite where the sound is not.
    """

    samples: int
    wave: complex
    rest: float

    @property
    def level_std_db(self) -> float:
        """Standard uncertainty of its level in dB, the rest being noise; infinite where nothing sounds."""
        size = abs(self.wave)
        return DB_PER_NEPER * self.rest / size * math.sqrt(2 / self.samples) if size > 0 else math.inf


@dataclass(frozen=True)
class ToneRun:
    """Tones of one segment that are alike but for their level, as a capture holds them.

    Attributes
    ----------
    segment : Segment
        Whose tones they are.
    tones : tuple of Tone
        As played.
    starts : ndarray, shape (k,)
        Stimulus position of the first sample of each tone's first block.
    step : float
        Stimulus samples from one sample to the next.
    edges : ndarray of int, shape (m + 1,)
        Borders of the blocks, in samples from there.
    totals : ndarray, shape (9, k, m + 1)
        Sums up to each border: of what `waves_of` takes, and of the squared sound.
    """

    segment: Segment
    tones: tuple[Tone, ...]
    starts: Array
    step: float
    edges: Index
    totals: Array

    @property
    def waves(self) -> Complex:
        """Complex amplitude in each block of each tone, shape (k, m)."""
        return waves_of(np.diff(self.totals[:8]))


@dataclass(frozen=True)
class ToneCourse:
    """One tone of a run."""

    run: ToneRun
    number: int

    def fit(self, begin: float, end: float) -> Stretch | None:
        """Fit the blocks that lie wholly between two stimulus positions; None where there are none."""
        return self._fit(*self._blocks(begin, end))

    def halves(self, begin: float, end: float) -> tuple[Stretch, Stretch] | None:
        """Fit both halves of the blocks that lie wholly between two stimulus positions."""
        first, last = self._blocks(begin, end)
        middle = last - (last - first) // 2
        early, late = self._fit(2 * middle - last, middle), self._fit(middle, last)
        return None if early is None or late is None else (early, late)

    def _blocks(self, begin: float, end: float) -> tuple[int, int]:
        run = self.run
        first, last = ((at - float(run.starts[self.number])) / run.step for at in (begin, end))
        return (
            int(np.searchsorted(run.edges, first - 1e-6)),
            int(np.searchsorted(run.edges, last, side="right")) - 1,
        )

    def _fit(self, first: int, last: int) -> Stretch | None:
        if first >= last:
            return None
        totals = self.run.totals[:, self.number]
        *sums, energy = (totals[:, last] - totals[:, first]).tolist()
        cosine, sine, offset = _solved(*sums)
        left = energy - offset * sums[5] - cosine * sums[6] - sine * sums[7]
        left = max(left, ROUNDING * energy) if math.isfinite(left) else math.nan
        return Stretch(int(sums[0]), complex(cosine, -sine), math.sqrt(left / sums[0]))


@once
def tone_runs(take: Take) -> tuple[ToneRun, ...]:
    """All tones of a take that lie wholly in its file and last a block."""
    return tuple(run for segment in take.stimulus.segments for run in _runs(take, segment))


@once
def _courses(take: Take) -> dict[Tone, ToneCourse]:
    return {tone: ToneCourse(run, at) for run in tone_runs(take) for at, tone in enumerate(run.tones)}


def course_of(take: Take, tone: Tone) -> ToneCourse | None:
    """Course of one tone; None where the file does not hold it, or it is shorter than a block."""
    return _courses(take).get(tone)


def waves_of(sums: Array) -> Complex:
    """Complex amplitude of a wave fitted beside an offset within each block.

    Parameters
    ----------
    sums : ndarray, shape (8, ...)
        Samples of each block; sums of the carrier's cosine and sine, of cosine and sine of twice its phase,
        of the sound, and of the sound times cosine and sine.
    """
    cosine, sine, _ = _solved(*sums)
    return np.asarray(cosine - 1j * sine)


def _solved(
    count: Sums, c: Sums, s: Sums, c2: Sums, s2: Sums, plain: Sums, along: Sums, across: Sums
) -> tuple[Sums, Sums, Sums]:
    """Cosine's and sine's share and offset from sums of one block, or of arrays of them, by cofactors."""
    cc, ss, cs = (count + c2) / 2, (count - c2) / 2, s2 / 2
    first, both, third = ss * count - s * s, c * s - cs * count, cs * s - c * ss
    fifth, fourth = cc * count - c * c, cs * c - cc * s
    determinant = cc * first + cs * both + c * third
    return (
        (first * along + both * across + third * plain) / determinant,
        (both * along + fifth * across + fourth * plain) / determinant,
        (third * along + fourth * across + (cc * ss - cs * cs) * plain) / determinant,
    )


def _runs(take: Take, segment: Segment) -> Iterator[ToneRun]:
    """Tones of a segment by frequency, length and ramp, in portions that are read together."""
    rate_hz, place = take.stimulus.rate_hz, take.alignment
    alike: dict[tuple[float, int, int], list[Tone]] = {}
    for tone in segment.tones:
        alike.setdefault((tone.frequency_hz, tone.length, tone.ramp), []).append(tone)
    for (frequency_hz, length, ramp), tones in alike.items():
        skipped = ramp + AFTER_EDGE_S * rate_hz
        turn = frequency_hz / rate_hz * place.step
        cycles = max(BLOCK_PERIODS, round(BLOCK_S * frequency_hz))
        count = int((length - skipped - BEFORE_EDGE_S * rate_hz) / place.step)
        edges = np.arange(0, count + 1, cycles / turn).astype(np.int64)
        if edges.size < 2:
            continue
        begins = {tone: float(place.capture_index(tone.start + skipped)) for tone in tones}
        last = take.source.frames - count - 1
        held = [tone for tone in tones if 0 <= begins[tone] <= last]
        together = max(1, AT_ONCE // count)
        for some in (tuple(held[at : at + together]) for at in range(0, len(held), together)):
            firsts = [math.ceil(begins[tone]) for tone in some]
            from_start = skipped + place.step * np.array(
                [first - begins[tone] for tone, first in zip(some, firsts, strict=True)]
            )
            sound = [take.source.read(first, first + int(edges[-1]), take.channel) for first in firsts]
            totals = _totals(sound, from_start * frequency_hz / rate_hz, turn, edges)
            starts = np.array([tone.start for tone in some]) + from_start
            yield ToneRun(segment, some, starts, place.step, edges, totals)


def _totals(sound: list[Array], first_turns: Array, turns_per_sample: float, edges: Index) -> Array:
    """Sums up to each border, of each tone; the carrier is the same in each block but for its start."""
    count = np.diff(edges)
    least, blocks = int(count.min()), count.size
    rows, more = np.empty((len(sound), blocks, least)), np.zeros((len(sound), blocks))
    longer = np.flatnonzero(count > least)  # blocks are as long, or one longer
    for at, samples in enumerate(sound):
        rows[at] = np.lib.stride_tricks.sliding_window_view(samples, least)[edges[:-1]]
        more[at, longer] = samples[edges[longer] + least]
    inside, basis = _block_of(turns_per_sample, least)
    products = rows @ basis
    once = np.exp(2j * np.pi * ((first_turns[:, None] + turns_per_sample * edges) % 1.0))
    sums = np.empty((9, len(sound), blocks))
    sums[0] = count
    for row, at, turns in ((1, once, 1), (3, once * once, 2)):  # geometric sums
        carrier = np.diff(at) / (np.exp(2j * np.pi * turns * turns_per_sample) - 1)
        sums[row], sums[row + 1] = carrier.real, carrier.imag
    sums[5] = products[..., 0] + more
    wave = (products[..., 1] + 1j * products[..., 2] + more * inside[-1]) * once[:, :-1]
    sums[6], sums[7] = wave.real, wave.imag
    sums[8] = np.einsum("kbi,kbi->kb", rows, rows) + more * more
    totals = np.zeros((9, len(sound), blocks + 1))
    np.cumsum(sums, axis=2, out=totals[..., 1:])
    return totals


@lru_cache(maxsize=64)
def _block_of(turns_per_sample: float, count: int) -> tuple[Complex, Array]:
    """A carrier over so many samples and the next, and one, its cosine and its sine; not to be changed."""
    wave = phasor(0.0, turns_per_sample, count + 1)
    return wave, np.stack([np.ones(count), wave.real[:-1], wave.imag[:-1]], axis=1)
