"""Numbers of drawn compressors whose structure is known, without the search: how often intervals hold the truth.

``python -m tests.benchmarks.replica_numbers [--drawn 24] [--seed 101] [--rate HZ...] [--recipe short] [--write]``; rates in
turn, starts off the truth at random. What spans structures is not in these intervals.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from charprobe.files.sound.source import MemoryCapture
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.replica.fitting.cell_fit import fit_cell
from charprobe.replica.fitting.heard import Memory, hear
from charprobe.replica.fitting.pair import Pair
from charprobe.replica.fitting.proof import prove_on_programme
from charprobe.replica.fitting.search import FIT
from charprobe.replica.fitting.stretches import stretches_of
from charprobe.replica.fitting.structures import Structure
from charprobe.replica.model import Proof
from charprobe.replica.parts import Bend, Cell, Chain, Detector, Smoothing
from charprobe.stimulus.render import lay_out, render
from charprobe.values.quantity import Z95
from tests.benchmarks.replica_bench import DOWN_DB, INSIDE_DB, INSIDE_GAIN_DB, recipe_called
from tests.benchmarks.written import write_section
from tests.benchmarks.zoo.rig import Recorder
from tests.simulation.drawn import draw_compressor

NUMBERS = ("make-up", "threshold", "slope", "knee", "attack", "release")


@dataclass(frozen=True)
class Row:
    """A device: proof, errors of its numbers in standard errors, and these."""

    name: str
    proof: Proof
    apart: tuple[float, ...]
    errors: tuple[float, ...]


def row(seed: int, *, recipe: str, rate_hz: int) -> Row:
    """Fit one device and set its numbers beside the truth."""
    rng = np.random.default_rng(seed)
    device = draw_compressor(rng)
    stimulus = lay_out(recipe_called(recipe), rate_hz=rate_hz, take=1)
    played = render(stimulus)
    sounds = (device.process(played, rate_hz=rate_hz, rng=rng).samples, played)
    recorder = Recorder(noise_dbfs=-110.0)
    wet, dry = (
        place_take(
            Track(
                MemoryCapture(
                    recorder.record(10 ** (DOWN_DB / 20) * sound, rate_hz=rate_hz, seed=number),
                    rate_hz=rate_hz,
                ),
                0,
                stimulus,
            )
        )
        for number, sound in enumerate(sounds)
    )
    pair, bend, off = Pair(wet, dry), device.bends[0], np.random.default_rng(seed + 1).standard_normal(3)
    true = Cell(
        Detector("envelope"),
        (Bend(bend.threshold_dbfs + DOWN_DB, bend.slope, bend.knee_db),),
        Smoothing(attack_s=device.attack_s, release_s=device.release_s),
        makeup_db=device.makeup_db,
    )
    start = replace(
        true,
        bends=(replace(true.bends[0], threshold_dbfs=true.bends[0].threshold_dbfs + off[0]),),
        smoothing=replace(
            true.smoothing,
            attack_s=device.attack_s * np.exp(0.3 * off[1]),
            release_s=device.release_s * np.exp(0.1 * off[2]),
        ),
    )
    on_stimulus = true.bends[0].threshold_dbfs - pair.dry.alignment.gain_db
    stretches = stretches_of(pair.wet, threshold_dbfs=on_stimulus)
    memory, noise = Memory(device.attack_s, device.release_s), pair.noise(gain_db=device.makeup_db)
    heard, held_out = (
        hear(pair.seal(), [one for one in stretches if one.use in uses], memory=memory, noise=noise)
        for uses in (("search", "fit"), ("held out",))
    )
    fitted = fit_cell(Structure(), start, heard, held_out, rate_hz=rate_hz, effort=FIT)
    proved = prove_on_programme(Chain(cell=fitted.cell), pair, noise=noise)
    assert proved is not None
    score = fitted.solution.score
    lack = max(1.0, fitted.held_out / score, proved.score / score)
    truth = (true.makeup_db, *(getattr(true.bends[0], key) for key in ("threshold_dbfs", "slope", "knee_db")),
             np.log(device.attack_s), np.log(device.release_s))  # fmt: skip
    errors = np.sqrt(np.diag(fitted.solution.covariance))[:6] * lack
    apart = (fitted.solution.values[:6] - np.array(truth)) / np.maximum(errors, 1e-12)
    return Row(f"{seed}, {rate_hz} Hz", proved.proof, tuple(apart.tolist()), tuple(errors.tolist()))


def table(rows: Sequence[Row]) -> Iterator[str]:
    """One line a device, errors in standard errors; below it the share that 95 % intervals hold."""
    yield f"| drawn | residual | noise alone | gain error | {' | '.join(NUMBERS)} |"
    yield "|---|---|---|---|" + "---|" * len(NUMBERS)
    for one in rows:
        shown = " | ".join(f"{value:.1f}" for value in one.apart)
        proof = one.proof
        yield (
            f"| {one.name} | {proof.residual_db:.1f} dB | {proof.noise_db:.1f} dB | {proof.gain_error_db:.4f} dB | {shown} |"
        )
    held = np.abs([one.apart for one in rows]) <= Z95
    shares = ", ".join(f"{name} {n}" for name, n in zip(NUMBERS, held.sum(axis=0), strict=True))
    middle = np.median([one.errors for one in rows], axis=0)
    yield f"\nIntervals (95 %) hold of {len(rows)}: {shares}; all {100 * held.mean():.1f} %."
    yield (
        "Median standard errors: "
        + ", ".join(f"{name} {value:.2g}" for name, value in zip(NUMBERS, middle, strict=True))
        + " (dB, times relative)."
    )
    good = sum(one.proof.residual_db <= INSIDE_DB for one in rows)
    near = sum(one.proof.gain_error_db <= INSIDE_GAIN_DB for one in rows)
    yield f"Residual ≤ {INSIDE_DB:g} dB for {good}, gain error ≤ {INSIDE_GAIN_DB:g} dB rms for {near}."


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--drawn", type=int, default=24)
    parser.add_argument("--seed", type=int, default=101)
    parser.add_argument("--rate", type=int, nargs="*", default=[44_100, 48_000, 96_000])
    parser.add_argument("--recipe", default="short")
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    rows = []
    for i in range(asked.drawn):
        rows.append(row(asked.seed + i, recipe=asked.recipe, rate_hz=asked.rate[i % len(asked.rate)]))
        print(rows[-1].name, rows[-1].proof.residual_db, rows[-1].apart, file=sys.stderr, flush=True)
    print(text := "\n".join(table(rows)))
    if asked.write:
        rates = " ".join(map(str, asked.rate))
        command = (
            f"python -m tests.benchmarks.replica_numbers --drawn {asked.drawn} --seed {asked.seed} --rate {rates} "
            f"--recipe {asked.recipe} --write"
        )
        write_section("replica", "With the structure known", command, text)


if __name__ == "__main__":
    main()
