"""The sound that each step of a fit hears."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import oaconvolve

from charprobe.replica.colour import shaped, table_of, unshaped
from charprobe.replica.filters import taps
from charprobe.replica.fitting.filter_fit import Linear
from charprobe.replica.fitting.heard import DEEPEST, FINEST, Heard, Memory, hear
from charprobe.replica.fitting.pair import Noise, Pair
from charprobe.replica.fitting.stretches import Stretch
from charprobe.replica.parts import Colour, Section
from charprobe.values.arrays import Array
from charprobe.values.errors import ReplicaError


@dataclass(frozen=True)
class Sounds:
    """What each step hears, filters taken off but where colour is told, which is played among them."""

    search: Heard
    fit: Heard
    held_out: Heard
    colour: Heard | None
    colour_held_out: Heard | None

    @property
    def memory(self) -> Memory:
        """How long ago a stage may have been moved for these to show it."""
        return self.search.memory

    def without_colour(self, colour: Colour) -> Sounds:
        """Take a colour off what cells are fitted to: from the output, or onto the input."""
        if not colour.amplitude or colour.place == "in loop":
            return self
        table = table_of(colour)

        def off(heard: Heard) -> Heard:
            if colour.place == "before":
                return replace(heard, dry=shaped(heard.dry, table, oversampled=colour.oversampled))
            return replace(heard, wet=unshaped(heard.wet, table, oversampled=colour.oversampled))

        return replace(self, search=off(self.search), fit=off(self.fit), held_out=off(self.held_out))


def sounds_of(pair: Pair, stretches: Sequence[Stretch], *, memory: Memory, noise: Noise) -> Sounds:
    """Read stretches, each behind as much of what came before as a memory asks for."""

    def of(*uses: str, finest: float = FINEST) -> Heard | None:
        some = [stretch for stretch in stretches if stretch.use in uses]
        return hear(pair, some, memory=memory, noise=noise, finest=finest) if some else None

    search_ = of("search") or of("fit")
    if search_ is None:
        raise ReplicaError(
            f"{pair.wet.label}: no intact level steps, bursts or tones to fit a model to; capture `quick`, "
            "`standard` or `full`, or mend what the capture's findings name"
        )
    held_out = of("held out") or of("fit") or search_
    return Sounds(
        search_,
        of("search", "fit") or search_,
        held_out,
        of("colour", finest=DEEPEST),
        of("colour held out", finest=DEEPEST),
    )


def without_filter(sounds: Sounds, linear: Linear, pair: Pair) -> Sounds:
    """Take the filter behind the stage off the captured sound, and send the played one through that ahead.

    What undoes a low cut remembers for seconds: it hears all that a sealed pair lets it hear.
    """
    rate_hz = float(pair.rate_hz)
    undone = [
        (start, through(pair.read(start, stop).wet, linear.sections, rate_hz, backwards=True))
        for start, stop in (pair.open_ranges() if linear.sections else ())
    ]

    def captured(begin: int, size: int) -> Array:
        start, sound = next((s, one) for s, one in undone if s <= begin and begin + size <= s + one.size)
        return sound[begin - start : begin - start + size]

    def off(heard: Heard) -> Heard:
        dry = [through(heard.dry[piece], linear.ahead, rate_hz, backwards=False) for piece in heard.pieces]
        sizes = [heard.dry[piece].size for piece in heard.pieces]
        places = zip(heard.begins, sizes, strict=True)
        wet = np.concatenate([captured(*place) for place in places]) if undone else heard.wet
        return replace(heard, dry=np.concatenate(dry), wet=wet)

    if not linear.sections and not linear.ahead:
        return sounds
    return replace(sounds, search=off(sounds.search), fit=off(sounds.fit), held_out=off(sounds.held_out))


def through(sound: Array, sections: tuple[Section, ...], rate_hz: float, *, backwards: bool) -> Array:
    """Sound of shape (n,) behind filter sections, or behind what undoes them."""
    if not sections:
        return sound
    kernel, before = taps(sections, rate_hz=rate_hz, backwards=backwards)
    return np.asarray(oaconvolve(sound, kernel)[before : before + sound.size])
