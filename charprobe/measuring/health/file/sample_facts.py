"""What the samples of a capture are like, gathered in one pass: peaks, rest, bits, flat tops, twins."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from charprobe.files.sound.source import Source
from charprobe.measuring.health.file.flat_tops import LEAST_CEILING, NEAR, FlatTops, find_flat_tops
from charprobe.values.arrays import Array

BLOCK_FRAMES = 1 << 15
QUIET_FRAMES = 1 << 11  # 43 ms at 48 kHz: fits into the quiet pre-roll of every stimulus
NOISY = 1e-3  # -57 dBFS: the most that counts as noise; a capture without a quiet piece is no noisier
ABSURD = 1e4  # no recorder goes 80 dB beyond full scale
KEPT_RUNS = 1000
LOW_BYTES_PEAK = 2.0**-8  # full scale of 24 bits in the low part of 32
GLANCE, LEAST_STEPS = 512, 8  # samples of each block whose word is counted, and steps they must span
FEWEST_GLANCES, BITS_FEWER = 5, 3  # that a stretch of a shorter word must show
JUMP, OF_JUMP, SLOPE, BEND, MOST = 1.3, 0.2, 0.02, 0.6, 0.2
"""Of the peak: a wrap, what it may miss twice the peak by, the least slope around it, what that turns by; the
share of all such jumps that must be wraps, for loud noise jumps so now and then."""
FINEST_BITS = 24  # steps finer than these are not told apart in float files


@dataclass(frozen=True)
class SampleRun:
    """Samples `start` to `stop` of one channel, from the start of the capture, `count` of which are meant."""

    start: int
    stop: int
    count: int


@dataclass(frozen=True)
class CoarseRun:
    """Samples `start` to `stop` of one channel, in which only `bits` carry data; elsewhere more do."""

    start: int
    stop: int
    bits: int


@dataclass(frozen=True)
class ChannelFacts:
    """What the samples of one channel are like.

    Attributes
    ----------
    peak : float
        Largest absolute value among sound samples, full scale = 1.
    peak_at : int
        Where it is first met.
    level : float
        RMS of the whole channel without its mean.
    rest : float
        Mean in the quietest quarter of the channel: the offset without what loud tones may add.
    broken_at : tuple of SampleRun
        Samples that are not finite or absurd, one run per block that holds any.
    flat_tops : tuple of FlatTops
        At the highest and lowest values of the channel, block by block.
    rest_most : float
        Largest mean of a block in that quarter, where the offset moves.
    wrapped : SampleRun or None
        From the first to the last place where the waveform passes the top and begins again at the bottom.
    stuck_bit : int or None
        Highest bit, 1 the sign, that never changes though bits on both sides of it do.
    bits_used : int or None
        Bits that carry data, from the top of full scale; None if the channel is silent or finer than 24 bits.
    coarse : CoarseRun or None
        The first long stretch with a shorter word than the rest of the channel.
    fits_low_bytes : bool
        Whether every sample lies below 2**-8 on the steps of 32 bits, and some between those of 24 bits: what
        24-bit data looks like in the low part of 32.
    twin_of : int or None
        Lower channel with the very same samples.
    """

    peak: float
    peak_at: int
    level: float
    rest: float
    rest_most: float
    broken_at: tuple[SampleRun, ...]
    flat_tops: tuple[FlatTops, ...]
    wrapped: SampleRun | None
    stuck_bit: int | None
    bits_used: int | None
    coarse: CoarseRun | None
    fits_low_bytes: bool
    twin_of: int | None

    @property
    def silent(self) -> bool:
        """Whether every sample is exactly zero."""
        return self.peak == 0.0 and not self.broken_at


def gather_sample_facts(source: Source) -> tuple[ChannelFacts, ...]:
    """Read a capture once from end to end and tell what each channel is like, with flat memory.

    Parameters
    ----------
    source : Source
        Any capture.

    Returns
    -------
    tuple of ChannelFacts
        One per channel.
    """
    tallies = [_Tally() for _ in range(source.channels)]
    alike = {(low, high) for high in range(source.channels) for low in range(high)}
    for start in range(0, source.frames, BLOCK_FRAMES):
        block = _columns(source, start, start + BLOCK_FRAMES)
        alike = {(low, high) for low, high in alike if np.array_equal(block[low], block[high])}
        for tally, samples in zip(tallies, block, strict=True):
            tally.add(samples, start)
    facts = [tally.facts() for tally in tallies]
    twins: dict[int, int] = {}
    for low, high in sorted(alike):
        if not facts[high].silent:
            twins.setdefault(high, low)
    return tuple(replace(fact, twin_of=twins.get(channel)) for channel, fact in enumerate(facts))


def _columns(source: Source, start: int, stop: int) -> list[Array]:
    """Read every channel; one alone stays decoded for what reads it next, several would be much."""
    if source.channels == 1:
        return [source.read(start, stop, 0)]
    return list(np.ascontiguousarray(source.read_frames(start, stop).T))


class _Tally:
    """Running figures of one channel."""

    def __init__(self) -> None:
        self.peak, self.peak_at = 0.0, 0
        self.means: list[float] = []
        self.powers: list[float] = []
        self.sizes: list[int] = []
        self.broken_at: list[SampleRun] = []
        self.highest = {1.0: 0.0, -1.0: 0.0}
        self.tops: dict[float, list[FlatTops]] = {1.0: [], -1.0: []}
        self.wraps: list[int] = []
        self.jumps = 0
        self.bits = _BitTally()
        self.quietest = NOISY

    def add(self, samples: Array, start: int) -> None:
        """Take in the next block, whose first sample is sample `start` of the capture."""
        low, high = float(samples.min()), float(samples.max())
        if not (low > -ABSURD and high < ABSURD):  # also true for NaN
            samples = self._mend(samples, start)
            low, high = float(samples.min()), float(samples.max())
        if (peak := max(-low, high)) > self.peak:
            if NEAR * peak > self.peak:
                self.wraps, self.jumps = [], 0  # what jumped so low was no overflow
            self.peak = peak
            self.peak_at = start + int(np.argmax(samples if high >= -low else -samples))
        self.bits.glance(samples[:GLANCE])
        if peak > 0.0:
            self.bits.add(samples, peak)
        mean = float(samples.mean())
        self.means.append(mean)
        self.powers.append(max(float(samples @ samples) / samples.size - mean**2, 0.0))
        self.sizes.append(samples.size)
        self._listen(samples)
        self._look_for_wraps(samples, start, peak)
        for side, extreme in ((1.0, high), (-1.0, -low)):
            if self.highest[side] < NEAR * extreme:
                self.tops[side].clear()  # whatever was flat below was no ceiling
            if extreme >= NEAR * self.highest[side]:
                tops = find_flat_tops(
                    side * samples,
                    start=start,
                    highest=self.highest[side],
                    step=self.bits.step(),
                    noise=self.quietest,
                )
                if tops is not None and len(self.tops[side]) < KEPT_RUNS:
                    self.tops[side].append(replace(tops, ceiling=side * tops.ceiling))
                self.highest[side] = max(self.highest[side], extreme)

    def _listen(self, samples: Array) -> None:
        """Keep the level of the quietest short piece that is not digital silence."""
        pieces = samples[: samples.size // QUIET_FRAMES * QUIET_FRAMES].reshape(-1, QUIET_FRAMES)
        means = pieces @ np.full(QUIET_FRAMES, 1 / QUIET_FRAMES)
        powers = np.einsum("ij,ij->i", pieces, pieces) / QUIET_FRAMES - means**2
        power = float(np.min(powers, initial=np.inf, where=powers > 0))
        self.quietest = min(self.quietest, float(np.sqrt(power)))

    def _look_for_wraps(self, samples: Array, start: int, peak: float) -> None:
        """Note where the waveform jumps by twice the peak against its slope, which goes on behind it."""
        if peak < max(LEAST_CEILING, NEAR * self.peak):
            return
        step = np.diff(samples)
        places = np.flatnonzero(np.abs(step[2:-2]) > JUMP * peak) + 2
        if not places.size:
            return
        earlier, before, jump, after, later = (step[places + n] for n in (-2, -1, 0, 1, 2))
        way = -np.sign(jump)
        smooth = np.abs(jump + 2 * peak * way - (before + after) / 2) < OF_JUMP * peak
        smooth &= np.maximum(np.abs(before - earlier), np.abs(later - after)) < BEND * peak
        found = places[smooth & (way * before > SLOPE * peak) & (way * after > SLOPE * peak)]
        self.wraps += [start + int(place) for place in found]
        self.jumps += places.size

    def _wrapped(self) -> SampleRun | None:
        if not self.wraps or len(self.wraps) < MOST * self.jumps:
            return None
        return SampleRun(self.wraps[0], self.wraps[-1] + 1, len(self.wraps))

    def _mend(self, samples: Array, start: int) -> Array:
        broken = ~(np.abs(samples) < ABSURD)
        places = np.flatnonzero(broken)
        run = SampleRun(start + int(places[0]), start + int(places[-1]) + 1, int(places.size))
        if len(self.broken_at) == KEPT_RUNS:
            last = self.broken_at.pop()
            run = SampleRun(last.start, run.stop, last.count + run.count)
        self.broken_at.append(run)
        return np.where(broken, 0.0, samples)

    def facts(self) -> ChannelFacts:
        """Sum up; tops far below the highest value of the whole channel no longer count."""
        means, powers, sizes = (
            np.asarray(values, dtype=float) for values in (self.means, self.powers, self.sizes)
        )
        quiet = np.argsort(powers)[: max(1, len(powers) // 4)]
        mean = float(np.average(means, weights=sizes))
        power = float(np.average(powers + means**2, weights=sizes)) - mean**2
        kept = [
            tops
            for side in self.tops
            for tops in self.tops[side]
            if side * tops.ceiling >= NEAR * self.highest[side]
        ]
        return ChannelFacts(
            peak=self.peak,
            peak_at=self.peak_at,
            level=float(np.sqrt(max(power, 0.0))),
            rest=float(np.median(means[quiet])),
            rest_most=float(means[quiet][np.argmax(np.abs(means[quiet]))]),
            broken_at=tuple(self.broken_at),
            flat_tops=tuple(sorted(kept, key=lambda tops: tops.start)),
            wrapped=self._wrapped(),
            stuck_bit=self.bits.stuck(),
            bits_used=self.bits.used(),
            coarse=self.bits.coarse_run(),
            fits_low_bytes=self.bits.finer and self.bits.low,
            twin_of=None,
        )


class _BitTally:
    """Finds the finest step in use; looks at no more samples than that takes."""

    def __init__(self) -> None:
        self.codes = 0
        self.finer = False
        self.low = True
        self.glances: list[int] = []
        self.set, self.unset = -1, -1  # bits that every glance saw so

    def glance(self, samples: Array) -> None:
        """Count the bits in use at the head of a block; 0 where it spans too few steps to tell."""
        codes = np.rint(samples * float(1 << (FINEST_BITS - 1))).astype(np.int64)
        every = int(np.bitwise_or.reduce(codes))
        self.set &= int(np.bitwise_and.reduce(codes))
        self.unset &= ~every
        step = every & -every
        telling = step > 0 and int(np.ptp(codes)) >= LEAST_STEPS * step
        self.glances.append(FINEST_BITS + 1 - step.bit_length() if telling else 0)

    def stuck(self) -> int | None:
        """The highest bit that never changes between bits that do, counted from the top."""
        if len(self.glances) < FEWEST_GLANCES:
            return None
        moving = [bit for bit in range(FINEST_BITS) if not (self.set | self.unset) >> bit & 1]
        inner = [bit for bit in range(min(moving, default=0), max(moving, default=0)) if bit not in moving]
        return FINEST_BITS - inner[-1] if inner else None

    def coarse_run(self) -> CoarseRun | None:
        """The first stretch of blocks whose word is shorter than the longest by `BITS_FEWER` or more."""
        bits = np.array(self.glances)
        told = np.flatnonzero(bits)
        fewer = bits[told] <= bits.max(initial=0) - BITS_FEWER
        edges = np.flatnonzero(np.diff(np.concatenate(([False], fewer, [False])).astype(np.int8)))
        for first, last in zip(edges[::2], edges[1::2], strict=True):
            if last - first >= FEWEST_GLANCES:
                inside = told[first:last]
                stop = (int(inside[-1]) + 1) * BLOCK_FRAMES
                return CoarseRun(int(inside[0]) * BLOCK_FRAMES, stop, int(bits[inside].max()))
        return None

    def add(self, samples: Array, peak: float) -> None:
        """Take in a block that is not silent."""
        if self.low:
            fine = samples * 2.0**31
            self.low = peak < LOW_BYTES_PEAK and bool(np.all(np.rint(fine) == fine))
        if self.finer or self.codes & 1:
            return
        scaled = samples * float(1 << (FINEST_BITS - 1))
        codes = np.rint(scaled)
        if np.any(codes != scaled):
            self.finer = True
            return
        self.codes |= int(np.bitwise_or.reduce(codes.astype(np.int64)))

    def step(self) -> float:
        """Distance between the values met so far; full scale = 1."""
        return 2.0 ** (1 - (self.used() or FINEST_BITS))

    def used(self) -> int | None:
        """Bits that carry data, or None."""
        if self.finer or self.codes == 0:
            return None
        trailing = (self.codes & -self.codes).bit_length() - 1
        return FINEST_BITS - trailing
