"""What a held-out stage is: sound in, sound and its own gain out; and how its parameters are drawn."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
AT_ONCE = 20
LONGEST = 10**0.4


@dataclass(frozen=True)
class Output:
    """What a stage puts out, and the factor its gain cell had at each of these samples (None: no single one)."""

    sound: Array
    gain: Array | None


@dataclass(frozen=True)
class Stage:
    """A device under test.

    `process` takes mono sound, full scale 1, and its rate, and starts from rest. `late_s` is its own latency,
    `ahead_s` how long before the sound its gain may move (left out: the latency),
    `warm_s` the time from rest after which nothing in it moves any more under a steady tone, `calm_s` the same after
    louder sound, `remembers_s` how long what sounded before still changes how it moves. `trace_is_gain` tells that
    its trace is the whole of what happens to a tone's level (no colour, no filter). `unsteady_db` is how far its gain
    moves by itself: no reading can be truer than that. `joined` asks for many sounds in one run, with rests between.
    `turns_phase` tells that a tone's phase moves with its gain: in-phase and whole amplitude then are two gains.
    """

    name: str
    about: str
    process: Callable[[Array, int], Output]
    late_s: float = 0.0
    warm_s: float = 0.7
    calm_s: float = 2.0
    remembers_s: float = 0.0
    trace_is_gain: bool = False
    unsteady_db: float = 0.0
    joined: bool = False
    ahead_s: float | None = None
    turns_phase: bool = False

    def answers(self, sounds: Sequence[Array], rate_hz: int) -> list[Output]:
        """What the stage makes of each sound, from rest."""
        if not self.joined:
            return [self.process(sound, rate_hz) for sound in sounds]
        rest = np.zeros(round(self.calm_s * rate_hz))
        found: list[Output] = []
        for first in range(0, len(sounds), AT_ONCE):
            some = sounds[first : first + AT_ONCE]
            whole = self.process(
                np.concatenate([part for sound in some for part in (rest, sound)]), rate_hz
            ).sound
            ends = np.cumsum([rest.size + sound.size for sound in some])
            found += [
                Output(whole[end - sound.size : end], None) for sound, end in zip(some, ends, strict=True)
            ]
        return found


class Draw:
    """Parameters: as named without a seed, drawn around that with one."""

    def __init__(self, seed: int | None) -> None:
        self._rng = None if seed is None else np.random.default_rng(seed)

    def _between(self, low: float, high: float) -> float:
        return 0.0 if self._rng is None else float(self._rng.uniform(low, high))

    def time(self, usual_s: float) -> float:
        """A time within a factor of `LONGEST` either way."""
        return usual_s * 10 ** self._between(-0.4, 0.4)

    def level(self, usual_db: float, reach_db: float = 5.0) -> float:
        """A level within `reach_db` either way."""
        return usual_db + self._between(-reach_db, reach_db)

    def ratio(self, usual: float) -> float:
        """A ratio whose part above 1 lies within a factor of 1.8 either way."""
        return 1 + (usual - 1) * 10 ** self._between(-0.25, 0.25)

    def amount(self, usual: float) -> float:
        """An amount within a factor of 2 either way."""
        return usual * 2 ** self._between(-1, 1)


def decibels(level: Array) -> Array:
    """Level of magnitudes in dB, at least -120."""
    return np.asarray(20 * np.log10(np.maximum(level, 1e-6)))


def factor(gain_db: Array) -> Array:
    """Factor of a gain in dB."""
    return np.asarray(10 ** (gain_db / 20))


def keep(time_s: float, rate_hz: int) -> float:
    """What a one-pole of this time constant keeps from sample to sample."""
    return float(np.exp(-1 / (time_s * rate_hz))) if time_s > 0 else 0.0
