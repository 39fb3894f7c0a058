"""What a fit makes of colours with drawn numbers, of kinds that `replica_colours` has not.

``python -m tests.benchmarks.replica_colours_drawn [--seed N] [--kind NAME...] [--recipe NAME] [--write]``: thirteen kinds, every
number drawn; harmonics of tones the fit never heard are held against the stage's own. A seed that was looked at is no longer blind.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable

import numpy as np
from scipy.signal import lfilter, resample_poly

from charprobe.values.arrays import Array
from tests.benchmarks.replica_colours import (
    FINE,
    RATE,
    Sound,
    analogue,
    between,
    chain,
    curved,
    cut_above,
    cut_below,
    rows,
    soft,
    squeezed,
)
from tests.benchmarks.written import write_section

Draw = Callable[..., float]
PACE = 2 * np.pi / (RATE * FINE)


def exponential(above: float, below: float) -> Sound:
    """Two exponentials that ease into their ends, unlike above and below."""
    return lambda x: np.where(
        x > 0, -np.expm1(-above * x) / above, np.expm1(below * np.minimum(x, 0)) / below
    )


def triode(bias: float, conducts: float, share: float) -> Sound:
    """A current that grows with the power 1.5, cut off below, its grid drawing current above a soft edge."""

    def current(v: Array) -> Array:
        grid = v - share * 0.05 * np.logaddexp(0.0, (v - conducts) / 0.05)
        return np.asarray(np.maximum(bias + grid, 0.0) ** 1.5 / (1.5 * np.sqrt(bias)))

    return lambda x: current(x) - current(np.zeros(1))


def fluxed(amount: float, hz: float, leak_hz: float) -> Sound:
    """What the cube of an integrated signal, differentiated again, adds: a core without hysteresis."""

    def process(x: Array) -> Array:
        fine = np.asarray(resample_poly(x, FINE, 1))
        flux = lfilter([hz * PACE], [1, -np.exp(-leak_hz * PACE)], fine)
        return np.asarray(resample_poly(fine + amount * np.diff(flux**3, prepend=0.0) / (hz * PACE), 1, FINE))

    return process


def slewed(amount: float, hz: float) -> Sound:
    """What the cube of a differentiated signal, integrated again, takes away: an output that is driven fast."""

    def process(x: Array) -> Array:
        fine = np.asarray(resample_poly(x, FINE, 1))
        pace = np.diff(fine, prepend=0.0) / (hz * PACE)
        return np.asarray(
            resample_poly(fine - lfilter([hz * PACE], [1, -np.exp(-5 * PACE)], amount * pace**3), 1, FINE)
        )

    return process


def added_below(curve: Sound, hz: float) -> Sound:
    """A curve, of which what it adds passes a high cut."""

    def process(x: Array) -> Array:
        fine = np.asarray(resample_poly(x, FINE, 1))
        keep = np.exp(-hz * PACE)
        return np.asarray(resample_poly(fine + lfilter([1 - keep], [1, -keep], curve(fine) - fine), 1, FINE))

    return process


def clipped(above: float, below: float, sharpness: float) -> Sound:
    """A wire up to ceilings that lie unlike, met the more abruptly the sharper."""

    def curve(x: Array) -> Array:
        ceiling = np.where(x > 0, above, below)
        return np.asarray(x / (1 + np.abs(x / ceiling) ** sharpness) ** (1 / sharpness))

    return curve


def dead(width: float, depth: float) -> Sound:
    return lambda x: x - depth * width * x / np.sqrt(x**2 + width**2)


def drawn(seed: int) -> dict[str, Sound]:
    """All kinds, with numbers of a seed."""
    rng = np.random.default_rng(seed)

    def flat(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    def log(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    ceiling, hz, depth = flat(0.35, 0.7), log(400.0, 1500.0), flat(1.8, 3.5)
    cubic, turns = flat(0.05, 0.25), flat(1.7, 2.6)
    stages = {
        "exponential": chain(cut_above(log(4e3, 15e3)), curved(exponential(flat(0.5, 1.4), flat(0.2, 0.7)))),
        "triode": chain(curved(triode(flat(0.9, 1.6), flat(0.3, 0.6), flat(0.2, 0.7))), cut_below(log(4.0, 30.0))),
        "flux": fluxed(-log(0.05, 0.3), log(60.0, 160.0), log(3.0, 10.0)),
        "slew": slewed(log(0.1, 0.4), log(4e3, 9e3)),
        "shelf pair": between(curved(soft(flat(0.4, 0.9))), [depth, 1], [1, 1], hz),
        "two colours": chain(
            curved(exponential(flat(0.2, 0.6), flat(0.2, 0.6))), cut_below(log(20.0, 120.0)), curved(soft(flat(0.3, 0.8)))
        ),
        "hard clip": curved(lambda x: np.clip(x, -ceiling, ceiling)),
        "rounded clip": curved(clipped(flat(0.35, 0.8), flat(0.35, 0.8), log(5.0, 30.0))),
        "resonant top": chain(
            analogue([0, 0, 1], [1, flat(0.4, 0.9), 1], log(14e3, 22e3)), curved(lambda x: x - cubic * x**3)
        ),
        "folder": curved(lambda x: np.sin(turns * x) / turns),
        "crossover": curved(dead(log(0.003, 0.03), flat(0.3, 0.9))),
        "behind a cell": chain(
            cut_below(log(8.0, 30.0)), squeezed(flat(-30, -18), flat(0.4, 0.85), log(0.003, 0.02), log(0.08, 0.5), log(0.004, 0.01)),
            curved(exponential(flat(0.3, 1.0), flat(0.2, 0.7))), cut_above(log(6e3, 16e3)),
        ),
        "addition cut": added_below(soft(flat(0.4, 0.9)), log(300.0, 3e3)),
    }  # fmt: skip
    return {f"{name}, {seed}": stage for name, stage in stages.items()}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=8801)
    parser.add_argument("--kind", nargs="*", default=[""], help="beginnings of names")
    parser.add_argument("--recipe", default="short")
    parser.add_argument("--write", action="store_true", help="put the table into docs/accuracy/replica.md")
    asked = parser.parse_args()
    stages = {name: stage for name, stage in drawn(asked.seed).items() if name.startswith(tuple(asked.kind))}
    lines = []
    for line in rows(stages, asked.recipe):
        print(line, flush=True)
        lines.append(line)
    if asked.write:
        command = f"python -m tests.benchmarks.replica_colours_drawn --seed {asked.seed} --recipe {asked.recipe} --write"
        write_section("replica", f"Colours with drawn numbers, {asked.seed}", command, "\n".join(lines))


if __name__ == "__main__":
    main()
