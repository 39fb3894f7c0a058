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
EDGE = 64  # last samples of a stretch, which filters would mix with what follows
LONGEST_S = 30.0  # of what comes before a stretch
TOP_LEFT = np.sqrt(0.375)  # of white noise, once `Heard.seen` has taken the top off


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
    level : ndarray, shape (m,)
        Amplitude of the output around each.
    block : ndarray of int, shape (m,)
        Number of the piece it belongs to: errors within one hang together, for as long as the stage's release
        holds them, `BLOCK_S` at least.
    noise_score : float
        Root-mean-square weighted error that noise alone leaves.
    parts : tuple of (slice, float)
        Where each stretch stands among the samples that count, and the frequency of its first tone.
    pieces : tuple of slice
        Where each stands in `dry`, with what warms the model up: each is played from rest.
    """

    dry: Array
    wet: Array
    used: Index
    weight: Array
    level: Array
    block: Index
    noise_score: float
    parts: tuple[tuple[slice, float], ...] = ()
    pieces: tuple[slice, ...] = (slice(None),)

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

    def with_sound(self, *, dry: Array, wet: Array) -> Heard:
        """Return the same places with sound that went through filters."""
        return replace(self, dry=dry, wet=wet)


@dataclass(frozen=True)
class Memory:
    """How long a stage remembers: time constants of attack and release, roughly."""

    attack_s: float
    release_s: float

    @classmethod
    def of(cls, smoothing: Smoothing) -> Memory:
        """The memory of a gain cell."""
        return cls(smoothing.attack_s, max(smoothing.release_s, smoothing.slow_s))

    def start_of(self, stretch: Stretch, rate_hz: float) -> float:
        """Stimulus position from which on the model must hear what comes before a stretch.

        Nine release times leave 0.01 % of a reduction. Within them the loudest sound asked for the greatest
        reduction: ten attack times ahead of its last onset, whose overshoot is remembered too, the model may
        start, from rest.
        """
        earliest = stretch.start - (min(9 * self.release_s, LONGEST_S) + 0.05) * rate_hz
        loudest = [start for start, _ in stretch.before if start > earliest][-1:]
        by_attack = [start - (10 * self.attack_s + 0.05) * rate_hz for start in loudest]
        return max(0.0, earliest, *by_attack)


def hear(
    pair: Pair, stretches: Iterable[Stretch], *, memory: Memory, noise: Noise, finest: float = FINEST
) -> Heard:
    """Read and join stretches.

    Parameters
    ----------
    pair : Pair
        Sealed.
    stretches : iterable of Stretch
        What to hear.
    memory : Memory
        Says how much of what came before each the model hears first.
    noise : Noise
        Of both sides; that of the bypass passes the gain.
    finest : float
        Error, of the sound, that weighs as little as noise does.
    """
    rate_hz = pair.rate_hz
    left_of = replace(noise, wet=TOP_LEFT * noise.wet, dry=TOP_LEFT * noise.dry)
    dry, wet, used, level, left, weight, block = [], [], [], [], [], [], []
    parts: list[tuple[slice, float]] = []
    pieces: list[slice] = []
    at, number, counted = 0, 0, 0
    for stretch in stretches:
        begin = max(memory.start_of(stretch, rate_hz), pair.open_from(stretch.start))
        sides = read_quiet(pair, begin, stretch.stop, noise=noise)
        size = sides.wet.size
        first = min(size, round(stretch.start - begin))
        weighed = weigh(sides, noise=left_of, rate_hz=rate_hz, finest=finest)
        places = np.arange(first, max(first, size - EDGE))
        weighed.weight[[*places[:1], *places[-1:]]] = 0.0  # `Heard.seen` mixes them with other stretches
        dry.append(sides.dry)
        wet.append(sides.wet)
        used.append(at + places)
        level.append(weighed.level[places])
        left.append((weighed.left * weighed.weight)[places])
        weight.append(weighed.weight[places])
        block.append(number + (places - first) // round(max(BLOCK_S, memory.release_s) * rate_hz))
        number = int(block[-1][-1]) + 1 if places.size else number
        parts.append((slice(counted, counted + places.size), stretch.frequency_hz))
        counted += places.size
        pieces.append(slice(at, at + size))
        at += size
    return Heard(
        np.concatenate(dry),
        np.concatenate(wet),
        np.concatenate(used),
        np.concatenate(weight),
        np.concatenate(level),
        np.concatenate(block),
        float(np.sqrt(np.mean(np.concatenate(left) ** 2))),
        tuple(parts),
        tuple(pieces),
    )


@dataclass(frozen=True)
class Weighed:
    """Amplitude of the output around each sample, what noise leaves of error there, and the weight of one."""

    level: Array
    left: Array
    weight: Array


def weigh(sides: Sides, *, noise: Noise, rate_hz: float, finest: float = FINEST) -> Weighed:
    """Say what an error means at each sample: noise of the capture, that of the bypass behind the gain."""
    size = max(3, round(LEVEL_S * rate_hz))
    level, fed = _level(sides.wet, size), _level(sides.dry, size)
    fed_noise = noise.dry * np.sqrt(noise.heard)
    left = np.hypot(noise.wet, fed_noise * np.clip(level / (fed + 1e-9), 1e-3, 1e3))
    return Weighed(level, left, 1 / np.hypot(left, finest * level + 1e-12))


def _level(sound: Array, size: int) -> Array:
    """Amplitude around each sample."""
    power = np.maximum(uniform_filter1d(sound**2, size), 0.0)
    return np.asarray(maximum_filter1d(np.sqrt(2 * power), size))
