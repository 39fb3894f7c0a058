"""Dry and processed sound side by side, both read at the samples of the stimulus."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from charprobe.files.sound.frames import View
from charprobe.listening.aligning.warp import read_at
from charprobe.placing.take import Take
from charprobe.stimulus.kinds.programme import Programme
from charprobe.stimulus.kinds.steady import Silence
from charprobe.values.arrays import Array

BLOCK = 1 << 16  # samples that are read between those of a file at once
FINEST_BITS = 24  # of a word length: floats bear no more
TOLD = 3.0  # standard errors: a difference of noise powers that chance does not explain


@dataclass(frozen=True)
class Sides:
    """What went into the stage and what came out, sample by sample; shapes (n,).

    Both have the polarity of the stimulus and are read at its samples, delays taken off: a stage that runs at
    the samples it is played takes its steps there, and one that does not is heard as well there as elsewhere.
    """

    dry: Array
    wet: Array


@dataclass(frozen=True)
class Noise:
    """Root-mean-square noise of capture and bypass, full scale = 1.

    `heard` is the share of the bypass's noise, of its power, whose like the stage heard: 1 where the noise
    comes ahead of the stage, 0 where it comes behind it; `told` whether gain and noise say so.
    """

    wet: float
    dry: float
    heard: float = 1.0
    told: bool = True


@dataclass(frozen=True)
class Pair:
    """A capture and its bypass on one clock.

    Attributes
    ----------
    wet, dry : Take
        Both placed on the stimulus.
    late : float
        Samples by which `wet` lies later than the markers say: what the fit found.
    sealed : bool
        Whether programme reads as an error: what fits are given.
    """

    wet: Take
    dry: Take
    late: float = 0.0
    sealed: bool = False
    _kept: dict[tuple[bool, int, int], tuple[float, Array]] = field(
        default_factory=dict, repr=False, compare=False
    )

    @property
    def rate_hz(self) -> int:
        """Sampling rate."""
        return self.wet.stimulus.rate_hz

    def noise(self, *, gain_db: float) -> Noise:
        """Noise of both sides where nothing is played, the stage's gain there being `gain_db`.

        What a stage hears of noise its gain changes, and what comes behind it stays: so far as gain and noise
        tell them apart, else all of it counts as heard.
        """
        (wet, count), (dry, other), lift = _noise(self.wet), _noise(self.dry), 10 ** (gain_db / 10) - 1
        chance = TOLD * np.sqrt(2 * (wet**4 / count + dry**4 / other))  # of the difference of the powers
        span = lift * dry**2
        if abs(span) < 4 * chance or wet**2 - dry**2 < min(span, 0.0) - chance:
            return Noise(wet, dry, told=False)  # the latter is less than any share leaves: not at rest
        heard, near = (wet**2 - dry**2) / span, chance / abs(span)
        return Noise(wet, dry, 0.0 if heard < near else 1.0 if heard > 1 - near else heard)

    def seal(self) -> Pair:
        """The same pair, which refuses to read programme."""
        return replace(self, sealed=True)

    def open_from(self, position: float) -> float:
        """The stimulus position from which on a sealed pair reads up to another."""
        return float(max(start for start, _ in self.open_ranges() if start <= position))

    def open_ranges(self) -> list[tuple[int, int]]:
        """Stretches of the stimulus, in samples, that a sealed pair reads whole: around its programme."""
        programme = [segment.span for segment in self.wet.stimulus.of_kind(Programme)] if self.sealed else []
        edges = [0, *(edge for span in programme for edge in (int(span.start), int(np.ceil(span.stop))))]
        return list(zip(edges[::2], [*edges[1::2], self.wet.stimulus.length], strict=True))

    def read(self, start: float, stop: float) -> Sides:
        """Read both sides at the stimulus samples between two positions, silence beyond the files.

        Raises
        ------
        ValueError
            If the pair is sealed and programme lies between them.
        """
        programme = [segment.span for segment in self.wet.stimulus.of_kind(Programme)] if self.sealed else []
        if any(start < span.stop and stop > span.start for span in programme):
            raise ValueError("a fit must not see the programme that proves it")
        first = int(np.ceil(start))
        last = max(first, int(np.ceil(stop)))
        low = max((span.stop for span in programme if span.stop <= start), default=-np.inf)
        high = min((span.start for span in programme if span.start >= stop), default=np.inf)
        grid = range(BLOCK * (first // BLOCK), last + BLOCK + 1, BLOCK)
        edges = sorted({int(min(max(edge, low), high)) for edge in grid})
        skipped = first - edges[0]
        wet, dry = (
            np.concatenate([self._piece(wet, one, two) for one, two in pairwise(edges)])[
                skipped : skipped + last - first
            ]
            for wet in (True, False)
        )
        return Sides(dry, wet)

    def _piece(self, wet: bool, start: int, stop: int) -> Array:
        """Samples of one side between two edges, kept: many stretches lie behind the same sound."""
        take, late = (self.wet, self.late) if wet else (self.dry, 0.0)
        kept = self._kept.get((wet, start, stop))
        if kept is None or kept[0] != late:
            source, channel = take.source, take.channel
            samples = read_at(
                View(source.rate_hz, source.frames, 1, lambda a, b: source.read(a, b, channel)[:, None]),
                first=float(take.alignment.capture_index(start)) + late,
                step=1 / take.alignment.step,
                count=stop - start,
            )[:, 0]
            kept = self._kept[wet, start, stop] = late, np.nan_to_num(samples) * take.alignment.polarity
        return kept[1]


def _noise(take: Take) -> tuple[float, int]:
    """Root-mean-square noise where nothing is played, free of its offset, and of how many samples.

    Where silence is digital the rounding of the file is left, which sound brings with it.
    """
    stimulus = take.stimulus
    spans = [(s.span.start, s.tones[0].start if s.tones else s.span.stop) for s in stimulus.of_kind(Silence)]
    start, stop = spans[0] if spans else (0.0, float(stimulus.opening.start))
    edge = 0.1 * (stop - start)
    samples = take.cut(start + edge, stop - edge).samples
    if samples.size < 0.05 * stimulus.rate_hz:
        return 1e-6, 1
    rounding = 2.0 ** (1 - min(take.source.facts.bits, FINEST_BITS)) / np.sqrt(12)
    return max(float(np.std(samples)), rounding), samples.size
