"""What a fit makes of colours: faint, kinked at zero, crossing over, told by onsets alone, or standing among filters.

``python -m tests.benchmarks.replica_colours [--stage NAME...] [--write]``: every stage is drawn and made here, free of aliasing and
without a line of the simulation's or the replica's; harmonics of tones the fit never heard are held against the stage's own.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator

import numpy as np
from numba import njit
from scipy.signal import bilinear, lfilter, resample_poly

from charprobe.replica.chain import play_take
from charprobe.replica.fitting.fit import fit_replica
from charprobe.replica.parts import Chain
from charprobe.stimulus.render import lay_out, render
from charprobe.values.arrays import Array
from tests.benchmarks.replica_bench import DOWN_DB, recipe_called, recorded
from tests.benchmarks.written import write_section

RATE, FINE = 48_000, 8
TONES = [(hz, dbfs) for hz in (143.0, 1870.0) for dbfs in (-3.0, -8.0, -14.0, -26.0)]
SEEN_DBC, LENGTH_S, SETTLED_S = -80.0, 1.2, 0.3
Sound = Callable[[Array], Array]


def curved(curve: Sound) -> Sound:
    """A curve without memory, sampled so finely that nothing folds back to speak of."""

    def process(x: Array) -> Array:
        return np.asarray(resample_poly(curve(resample_poly(x, FINE, 1)), 1, FINE))

    return process


def squeezed(threshold_dbfs: float, slope: float, attack_s: float, release_s: float, mean_s: float) -> Sound:
    """A gain cell: mean square, reduction smoothed in dB."""
    times = [1 - np.exp(-1 / (RATE * one)) for one in (attack_s, release_s, mean_s)]
    return lambda x: x * 10 ** (-_reduction(x, threshold_dbfs, slope, *times) / 20)


@njit(cache=True)
def _reduction(x, threshold_dbfs, slope, attack, release, mean):  # type: ignore[no-untyped-def]
    out, held, square = np.zeros(x.size), 0.0, 1e-12
    for n in range(x.size):
        square += mean * (x[n] * x[n] - square)
        asked = max(0.0, slope * (10 * np.log10(2 * square + 1e-14) - threshold_dbfs))
        held += (attack if asked > held else release) * (asked - held)
        out[n] = held
    return out


def soft(drive: float) -> Sound:
    return lambda x: np.tanh(drive * x) / drive


def kinked(share: float) -> Sound:
    """Steeper above zero than below: even harmonics at the same dBc at every level."""
    return lambda x: x + share * np.abs(x)


def crossing(width: float, depth: float) -> Sound:
    """Less steep around zero: harmonics that fall as the level rises."""
    return lambda x: x - depth * width * np.tanh(x / width)


def core(amount: float, corner_hz: float) -> Sound:
    """A curve that the lows drive: what integrates ahead of it and differentiates behind."""
    keep = np.exp(-2 * np.pi * corner_hz / (RATE * FINE))

    def process(x: Array) -> Array:
        fine = resample_poly(x, FINE, 1)
        low = lfilter([1 - keep], [1, -keep], fine)
        bent = low - amount * low**3
        return np.asarray(resample_poly(fine + (bent - low), 1, FINE))

    return process


def leaned(process: Sound, gain: float) -> Sound:
    """Treble raised ahead of a curve and lowered behind it."""
    root = 10 ** (gain / 20)
    keep = np.exp(-2 * np.pi * 3200 / RATE)
    top, bottom = [root, 1 - keep - root], [1, -keep]  # y = low + root (x - low), of one pole

    def through(x: Array) -> Array:
        return np.asarray(lfilter(bottom, top, process(np.asarray(lfilter(top, bottom, x)))))

    return through


def chain(*parts: Sound) -> Sound:
    def process(x: Array) -> Array:
        for part in parts:
            x = part(x)
        return x

    return process


def lopsided(x: Array) -> Array:
    """A curve of two halves that bend unlike, at a point of rest that lies off their middle."""
    rest, above, below = -0.19, 1.27, 0.71

    def both(v: Array) -> Array:
        return np.where(v > 0, np.tanh(above * v) / above, np.tanh(below * v) / below)

    return np.asarray(both(1.06 * x + rest) - both(np.array(rest)))


def analogue(top: list[float], bottom: list[float], hz: float) -> Sound:
    """A filter by its polynomials in ``s / (2 pi hz)``, falling powers, made at the fine rate and brought down."""
    tops, bottoms = bilinear(
        *([c / (2 * np.pi * hz) ** (len(p) - 1 - i) for i, c in enumerate(p)] for p in (top, bottom)),
        RATE * FINE,
    )
    return lambda x: np.asarray(resample_poly(lfilter(tops, bottoms, resample_poly(x, FINE, 1)), 1, FINE))


def cut_below(hz: float) -> Sound:
    return analogue([1, 0], [1, 1], hz)


def cut_above(hz: float) -> Sound:
    return analogue([0, 1], [1, 1], hz)


def between(process: Sound, top: list[float], bottom: list[float], hz: float) -> Sound:
    """What stands between a filter and the one that undoes it."""
    return chain(analogue(top, bottom, hz), process, analogue(bottom, top, hz))


def magnetised(corner_hz: float, bend: float) -> Sound:
    """A winding that its source drives through a resistance: the current that a bending core takes is lost there."""

    def process(x: Array) -> Array:
        fine = np.asarray(resample_poly(x, FINE, 1))
        return np.asarray(resample_poly(_wound(fine, 2 * np.pi * corner_hz / (RATE * FINE), bend), 1, FINE))

    return process


@njit(cache=True)
def _wound(x, pace, bend):  # type: ignore[no-untyped-def]
    out, flux = np.zeros(x.size), 0.0
    for n in range(x.size):
        y = out[n - 1] if n else 0.0
        for _ in range(6):  # y + current(flux + pace y / 2) = x
            there = flux + pace * y / 2
            y -= (y + there + bend * there**3 - x[n]) / (1 + (1 + 3 * bend * there**2) * pace / 2)
        flux += pace * y
        out[n] = y
    return out


STAGES: dict[str, Sound] = {
    "faint soft clip (H3 -66 dBc) behind 2.7:1": chain(squeezed(-23.4, 0.63, 0.0037, 0.19, 0.0071), curved(soft(0.57))),
    "faint even (H2 -74 dBc) ahead of 4.4:1": chain(curved(lambda x: x + 4e-4 * x**2), squeezed(-26.2, 0.773, 0.0092, 0.33, 0.0063)),
    "kink at zero, 5.1 %, alone": curved(kinked(0.051)),
    "kink at zero, 2.3 %, behind 3.3:1": chain(squeezed(-21.7, 0.697, 0.0064, 0.27, 0.0083), curved(kinked(0.023))),
    "crossover, 0.9 % wide, alone": curved(crossing(0.009, 0.62)),
    "crossover, 1.7 % wide, behind 2.2:1": chain(squeezed(-24.9, 0.545, 0.0051, 0.23, 0.0066), curved(crossing(0.017, 0.31))),
    "soft clip behind 21:1 that only onsets reach": chain(squeezed(-29.3, 0.952, 0.021, 0.28, 0.0058), curved(soft(0.93))),
    "core: driven below 130 Hz": core(0.41, 130.0),
    "soft clip between treble +7 dB and -7 dB": leaned(curved(soft(0.57)), 7.3),
    "lopsided, low cut 11 Hz behind": chain(curved(lopsided), cut_below(11.3)),
    "low cut 7 Hz, lopsided, low cut 21 Hz": chain(cut_below(6.7), curved(lopsided), cut_below(20.9)),
    "treble up to +14 dB above 3 kHz, soft clip, undone": between(curved(soft(0.83)), [5.1, 1], [1, 1], 3140.0),
    "bass up to +10 dB below 180 Hz, lopsided, undone": between(curved(lopsided), [1, 3.2], [1, 1], 183.0),
    "middle +8 dB at 1.3 kHz, soft clip, undone": between(curved(soft(0.74)), [1, 2.5, 1], [1, 1, 1], 1310.0),
    "soft clip, high cut 7 kHz behind": chain(curved(soft(0.91)), cut_above(7060.0)),
    "high cut 5 kHz, lopsided": chain(cut_above(5230.0), curved(lopsided)),
    "low cut 2nd order 16 Hz, soft clip, resonance at 22 kHz":
        chain(analogue([1, 0, 0], [1, 1.41, 1], 16.3), curved(soft(0.66)), analogue([0, 0, 1], [1, 0.83, 1], 22_300.0)),
    "a bending core behind a resistance, 9 Hz": magnetised(8.6, 310.0),
    "lopsided, low cut 27 Hz, lopsided": chain(curved(lopsided), cut_below(26.7), curved(lopsided)),
    "low cut 13 Hz, 3.1:1, lopsided, low cut 9 Hz":
        chain(cut_below(13.4), squeezed(-20.3, 0.677, 0.0057, 0.21, 0.0069), curved(lopsided), cut_below(8.8)),
}  # fmt: skip


def harmonics(sound: Array, hz: float) -> Array:
    """Levels of orders 2 and 3 re the fundamental in dB, at the end of a tone."""
    at = np.arange(sound.size)[-round(SETTLED_S * RATE) - 480 : -480]
    turns = 2 * np.pi * hz / RATE * np.outer(np.arange(1, 6), at)
    found = np.linalg.lstsq(
        np.vstack([np.ones(at.size), np.cos(turns), np.sin(turns)]).T, sound[at], rcond=None
    )[0]
    size = np.hypot(*found[1:].reshape(2, 5))
    return np.asarray(20 * np.log10(size[1:3] / size[0] + 1e-9))


def held_against(process: Sound, chain: Chain) -> list[str]:
    """Largest and greatest difference of H2 and H3 over tones, in words; where the stage shows them."""
    down, at = 10 ** (DOWN_DB / 20), np.arange(round(LENGTH_S * RATE)) / RATE
    true, made = [], []
    for hz, dbfs in TONES:
        x = 10 ** (dbfs / 20) * np.sin(2 * np.pi * hz * at)
        true.append(harmonics(process(x), hz))
        made.append(harmonics(play_take(chain, down * x, rate_hz=RATE).sound[:, 0], hz))
    words = []
    for one, other in zip(np.transpose(true), np.transpose(made), strict=True):
        shown = one > SEEN_DBC
        off = np.abs(np.maximum(other, -120) - one)[shown]
        words.append(f"{one.max():.0f} dBc: {np.median(off):.1f}, {off.max():.1f} dB" if shown.any()
                     else f"none; at most {other.max():.0f} dBc made")  # fmt: skip
    return words


def rows(stages: dict[str, Sound], recipe: str) -> Iterator[str]:
    yield "| stage | residual | noise alone | gain error | H2 at most; off: median, worst | H3 | CPU | said |"
    yield "|---|---|---|---|---|---|---|---|"
    stimulus = lay_out(recipe_called(recipe), rate_hz=RATE, take=1)
    played = render(stimulus)
    for name, process in stages.items():
        wet, bypass = recorded(process(played), played, rate_hz=RATE)
        began = time.process_time()
        replica = fit_replica(wet, stimulus, bypass=bypass, channel=1, setting="drawn").replica
        taken = time.process_time() - began
        proof = replica.proofs[0]
        shown = " | ".join(held_against(process, replica.chain))
        yield (
            f"| {name} | {proof.residual_db:.1f} dB | {proof.noise_db:.1f} dB | {proof.gain_error_db:.3f} dB | {shown} | "
            f"{taken:.0f} s | {' '.join(replica.notes)} |"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stage", nargs="*", default=[""], help="beginnings of names")
    parser.add_argument("--recipe", default="short")
    parser.add_argument("--write", action="store_true", help="put the table into docs/accuracy/replica.md")
    asked = parser.parse_args()
    stages = {name: stage for name, stage in STAGES.items() if name.startswith(tuple(asked.stage))}
    lines = []
    for line in rows(stages, asked.recipe):
        print(line, flush=True)
        lines.append(line)
    if asked.write:
        command = f"python -m tests.benchmarks.replica_colours --recipe {asked.recipe} --write"
        write_section("replica", "Colours of other make", command, "\n".join(lines))


if __name__ == "__main__":
    main()
