"""The sound a fit runs over: stretches joined, each behind what came before it, every sample weighted."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from charprobe.replica.fitting.pair import Noise, Pair, Sides
from charprobe.replica.fitting.quiet_bypass import read_quiet
from charprobe.replica.fitting.stretches import Stretch
from charprobe.replica.parts import Smoothing
from charprobe.values.arrays import Array, Index

DEEPEST = 10 ** (-90 / 20)  # the same where colour is looked for
FINEST = 10 ** (-74 / 20)  # of the sound: an error this small weighs as little as noise does
LEVEL_S, BLOCK_S = 0.002, 0.1
LEAD_S = 0.05  # ahead of what is remembered, fading in: no onset that the stage did not hear
AFTER_S = 0.02  # of what follows a stretch: filters mix it in, and look-ahead is met by it
LONGEST_S = 30.0  # of what comes before a stretch
FURTHER = 2.0  # times the memory that was thought: of its start some 1 % is left instead of 0.01 %
TOP_LEFT = np.sqrt(0.375)  # of white noise, once `Heard.seen` has taken the top off


@dataclass(frozen=True)
class Memory:
    """How long a stage remembers: time constants of attack and release, roughly, of the slowest store."""

    attack_s: float
    release_s: float

    @classmethod
    def of(cls, *all_of: Smoothing) -> Memory:
        """The memory of a gain cell, or of whichever of several remembers longest."""
        return cls(
            max(max(one.attack_s, one.charge_s) for one in all_of),
            max(one.remembered_s for one in all_of),
        )

    def beyond(self, other: Memory) -> bool:
        """Whether it reaches so much further than another that sound heard behind that misleads."""
        return self.release_s > FURTHER * other.release_s or self.attack_s > FURTHER * other.attack_s

    def start_of(self, stretch: Stretch, rate_hz: float) -> float:
        """Stimulus position from which on the model must hear what comes before a stretch.

        Nine release times leave 0.01 % of a reduction. Within them the loudest sound asked for the greatest
        reduction: ten attack times ahead of its last onset, whose overshoot is remembered too, the model may
        start, from rest.
        """
        earliest = stretch.start - (min(9 * self.release_s, LONGEST_S) + LEAD_S) * rate_hz
        loudest = [start for start, _ in stretch.before if start > earliest][-1:]
        by_attack = [start - (10 * self.attack_s + LEAD_S) * rate_hz for start in loudest]
        return max(0.0, earliest, *by_attack)


@dataclass(frozen=True)
class Heard:
    """Joined stretches.

    Attributes
    ----------
    dry, wet : ndarray, shape (n,)
        Input and output of the stage.
    used : ndarray of int, shape (m,)
        Samples that count; the others warm the model up.
    weight : ndarray, shape (m,)
        One over the standard error that noise and `FINEST` leave in each.
    block : ndarray of int, shape (m,)
        Number of the piece it belongs to: errors within one hang together, for as long as the stage's release
        holds them, `BLOCK_S` at least.
    left : ndarray, shape (m,)
        Standard error that noise alone leaves in each.
    parts, names : tuple of (slice, float), tuple of str
        Where each stretch stands among the samples that count, with the frequency of its first tone; its
        segment.
    pieces : tuple of slice
        Pieces of `dry` that hang together, with what warms the model up: each is played from rest.
    begins : tuple of int
        Where each piece begins on the stimulus, in samples.
    memory : Memory
        For which they are long enough.
    """

    dry: Array
    wet: Array
    used: Index
    weight: Array
    block: Index
    left: Array
    parts: tuple[tuple[slice, float], ...] = ()
    names: tuple[str, ...] = ()
    pieces: tuple[slice, ...] = (slice(None),)
    begins: tuple[int, ...] = (0,)
    memory: Memory = Memory(np.inf, np.inf)

    @property
    def noise_score(self) -> float:
        """Root-mean-square weighted error that noise alone leaves."""
        return float(np.sqrt(np.mean((self.left * self.weight) ** 2)))

    @property
    def target(self) -> Array:
        """Output where it counts, as it is `seen`."""
        return self.seen(self.wet[self.used])

    def seen(self, sound: Array) -> Array:
        """Sound at the samples that count, shape (..., m), less what lies at half the sampling rate.

        Behind a hard onset converters ring there for many samples: no number of the stage explains that, and
        quick attacks would bend to it.
        """
        out = 0.5 * sound
        out[..., 1:] += 0.25 * sound[..., :-1]
        out[..., :-1] += 0.25 * sound[..., 1:]
        return np.asarray(out)


def hear(
    pair: Pair, stretches: Iterable[Stretch], *, memory: Memory, noise: Noise, finest: float = FINEST
) -> Heard:
    """Read and join stretches of a sealed pair, each behind as much of what came before as `memory` says.

    Noise of the bypass passes the gain; an error of `finest`, of the sound, weighs as little as noise does.
    """
    rate_hz = pair.rate_hz
    left_of = replace(noise, wet=TOP_LEFT * noise.wet, dry=TOP_LEFT * noise.dry)
    dry, wet, used, left, weight, block = [], [], [], [], [], []
    parts, names = list[tuple[slice, float]](), list[str]()
    pieces, begins = list[slice](), list[int]()
    at, number, counted = 0, 0, 0
    for begin, some in _hanging_together(pair, stretches, memory):
        last = max(stretch.stop for stretch in some)
        end = min(last + round(AFTER_S * rate_hz), *(stop for _, stop in pair.open_ranges() if stop >= last))
        sides = read_quiet(pair, begin, end, noise=noise)
        size = sides.wet.size
        weighed = weigh(sides, noise=left_of, rate_hz=rate_hz, finest=finest)
        lead = min(round(LEAD_S * rate_hz), int(some[0].start - begin))
        sides.dry[:lead] *= np.sin(np.linspace(0, np.pi / 2, lead)) ** 2
        dry.append(sides.dry)
        wet.append(sides.wet)
        pieces.append(slice(at, at + size))
        begins.append(int(np.ceil(begin)))
        for stretch in some:
            first, stop = (min(size, round(edge - begin)) for edge in (stretch.start, stretch.stop))
            places = np.arange(first, max(first, stop))
            weighed.weight[[*places[:1], *places[-1:]]] = 0.0  # `Heard.seen` mixes them with other stretches
            used.append(at + places)
            left.append(weighed.left[places])
            weight.append(weighed.weight[places])
            block.append(number + (places - first) // round(max(BLOCK_S, memory.release_s) * rate_hz))
            number = int(block[-1][-1]) + 1 if places.size else number
            parts.append((slice(counted, counted + places.size), stretch.frequency_hz))
            names.append(stretch.name)
            counted += places.size
        at += size
    return Heard(
        np.concatenate(dry), np.concatenate(wet), np.concatenate(used), np.concatenate(weight),
        np.concatenate(block), np.concatenate(left), tuple(parts), tuple(names),
        tuple(pieces), tuple(begins), memory,
    )  # fmt: skip


def _hanging_together(
    pair: Pair, stretches: Iterable[Stretch], memory: Memory
) -> list[tuple[float, list[Stretch]]]:
    """Stretches that share what they are heard behind, in their order, and where each lot begins."""
    found: list[tuple[float, list[Stretch]]] = []
    for stretch in sorted(stretches, key=lambda one: one.start):
        begin, some = max(memory.start_of(stretch, pair.rate_hz), pair.open_from(stretch.start)), [stretch]
        while found and begin <= found[-1][1][-1].stop:
            earlier, ahead = found.pop()
            begin, some = min(begin, earlier), [*ahead, *some]
        found.append((begin, some))
    return found


@dataclass(frozen=True)
class Weighed:
    """What noise leaves of error at each sample, and the weight of one."""

    left: Array
    weight: Array


def weigh(sides: Sides, *, noise: Noise, rate_hz: float, finest: float = FINEST) -> Weighed:
    """Say what an error means at each sample: noise of the capture, that of the bypass behind the gain."""
    size = max(3, round(LEVEL_S * rate_hz))
    level, fed = _level(sides.wet, size), _level(sides.dry, size)
    fed_noise = noise.dry * np.sqrt(noise.heard)
    left = np.hypot(noise.wet, fed_noise * np.clip(level / (fed + 1e-9), 1e-3, 1e3))
    return Weighed(left, 1 / np.hypot(left, finest * level + 1e-12))


def _level(sound: Array, size: int) -> Array:
    """Amplitude around each sample."""
    power = np.maximum(uniform_filter1d(sound**2, size), 0.0)
    return np.asarray(maximum_filter1d(np.sqrt(2 * power), size))
