"""Fit replicas to devices of other code and hold proofs and parameters against the truth.

``python -m tests.benchmarks.replica_bench [--drawn N] [--stage NAME...] [--recipe FILE] [--rate HZ] [--seed N]
[--jobs 2] [--write]`` draws N compressors of `simulation.devices` inside the family and takes stages of the zoo by name
(``foreign`` stands for eight processors that are not ours); ``--write`` puts the tables into `docs/accuracy/replica.md`.
Left out, the recipe is `standard`; `quick` with eight seconds of programme is the short one (``--recipe short``).
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from importlib import resources

import numpy as np

from charprobe.files.sound.source import MemoryCapture
from charprobe.replica.fitting.fit import fit_replica
from charprobe.replica.flat import value_at
from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.stimulus.recipe import Recipe, load_recipe, parse_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.errors import CharprobeError
from charprobe.values.quantity import Z95
from tests.benchmarks.written import write_section
from tests.benchmarks.zoo.catalogue import stages
from tests.benchmarks.zoo.rig import Recorder
from tests.simulation.drawn import draw_compressor

PROGRAMME = '\n[[segment]]\nkind = "programme"\nname = "proof"\nlength_s = 8\nlevel_dbfs = -2\n'
DOWN_DB = -14.0  # of the recorder: make-up gains do not clip it
INSIDE_DB, INSIDE_GAIN_DB = -60.0, 0.03
OUTSIDE_DB, OUTSIDE_GAIN_DB = -30.0, 0.3
FOREIGN = (
    "ffmpeg-acompressor-1", "ffmpeg-acompressor-2", "ffmpeg-compand-1", "sox-compand-1", "cmt-compress-rms-1",
    "cmt-compress-peak-1", "swh-sc4m-1", "tap-dynamics-1", "ffmpeg-asoftclip-1", "ffmpeg-shelf-1",
)  # fmt: skip
PLACES = {
    "threshold": "cell.bends.0.threshold_dbfs", "slope": "cell.bends.0.slope", "knee": "cell.bends.0.knee_db",
    "attack": "cell.smoothing.attack_s", "release": "cell.smoothing.release_s", "make-up": "cell.makeup_db",
}  # fmt: skip


@dataclass(frozen=True)
class Row:
    """What came of one device: proof, time, and for drawn ones the errors of parameters and what intervals hold."""

    name: str
    residual_db: float
    gain_error_db: float
    noise_db: float
    cpu_s: float
    said: str
    off: tuple[float, ...] = ()
    held: tuple[bool, ...] = ()


def recipe_called(name: str) -> Recipe:
    """The recipe of that name; "short" is `quick` with programme."""
    if name != "short":
        return load_recipe(name)
    text = (resources.files("charprobe.recipes") / "quick.toml").read_text(encoding="utf-8")
    return parse_recipe(text.replace('name = "quick"', 'name = "short"') + PROGRAMME, source="short")


def outcome(job: tuple[str, int], *, recipe: str, rate_hz: int) -> Row:
    """Capture and fit one device."""
    name, seed = job
    stimulus = lay_out(recipe_called(recipe), rate_hz=rate_hz, take=1)
    played, rng = render(stimulus), np.random.default_rng(seed)
    device: Compressor | None = None
    if name == "drawn":
        device = draw_compressor(rng, name=f"drawn-{seed}")
        through = device.process(played, rate_hz=rate_hz, rng=rng).samples
    else:
        through = stages()[name].process(played, rate_hz).sound
    recorder = Recorder(noise_dbfs=-110.0)
    wet, dry = (
        recorder.record(10 ** (DOWN_DB / 20) * sound, rate_hz=rate_hz, seed=number)
        for number, sound in enumerate((through, played))
    )
    began = time.process_time()
    try:
        fit = fit_replica(
            MemoryCapture(wet, rate_hz=rate_hz),
            stimulus,
            bypass=MemoryCapture(dry, rate_hz=rate_hz, name="bypass"),
            channel=1,
            setting=name,
        )
    except CharprobeError as error:
        return Row(name, np.nan, np.nan, np.nan, time.process_time() - began, str(error))
    taken, replica = time.process_time() - began, fit.replica
    proof = replica.proofs[0] if replica.proofs else None
    residual, error_db = (proof.residual_db, proof.gain_error_db) if proof else (np.nan, np.nan)
    noise_db = proof.noise_db if proof else np.nan
    shown = device.name if device else name
    said = replica.notes[0] if residual <= OUTSIDE_DB else " ".join(replica.notes[:2])
    if device is None or not replica.chain.cell.bends:
        return Row(shown, residual, error_db, noise_db, taken, said)
    bend = device.bends[0]
    truth = (
        bend.threshold_dbfs + DOWN_DB, bend.slope, bend.knee_db, device.attack_s, device.release_s, device.makeup_db
    )  # fmt: skip
    posterior = replica.posterior
    off, held = [], []
    for true, place in zip(truth, PLACES.values(), strict=True):
        value, at = value_at(replica.chain, place), posterior.places.index(place)
        log = posterior.logarithmic[at]
        miss = float(np.log(value / true)) if log else value - true
        off.append(abs(miss) if log else abs(miss) / max(abs(true), 1.0))
        held.append(abs(miss) <= Z95 * np.sqrt(posterior.covariance[at][at]))
    return Row(shown, residual, error_db, noise_db, taken, said, tuple(off), tuple(held))


def table(rows: Sequence[Row]) -> str:
    """All rows, the sentence of those a model does not meet at full length."""
    lines = ["| device | residual | noise alone | gain error | CPU | said |", "|---|---|---|---|---|---|"]
    lines += [
        f"| {row.name} | {row.residual_db:.1f} dB | {row.noise_db:.1f} dB | {row.gain_error_db:.3f} dB | "
        f"{row.cpu_s:.0f} s | {row.said} |"
        for row in rows
    ]
    drawn = [row for row in rows if row.name.startswith("drawn")]
    other = [row for row in rows if not row.name.startswith("drawn")]
    if drawn:
        good = sum(row.residual_db <= INSIDE_DB for row in drawn)
        noisy = sum(INSIDE_DB < row.residual_db <= row.noise_db + 3 for row in drawn)
        near = sum(row.gain_error_db <= INSIDE_GAIN_DB for row in drawn)
        lines.append(
            f"\nInside the family: residual ≤ {INSIDE_DB:g} dB for {good} of {len(drawn)}, {noisy} more within 3 dB of "
            f"what noise alone leaves; gain error ≤ {INSIDE_GAIN_DB:g} dB rms for {near}."
        )
        fitted = [row for row in drawn if row.off]
        for i, name in enumerate(PLACES if fitted else ()):
            within = sum(row.off[i] <= 0.02 for row in fitted)
            held = sum(row.held[i] for row in fitted)
            lines.append(f"{name}: within 2 % {within}, interval holds {held} of {len(fitted)}.")
    if other:
        met = sum(row.residual_db <= OUTSIDE_DB and row.gain_error_db <= OUTSIDE_GAIN_DB for row in other)
        lines.append(
            f"\nOf other make: residual ≤ {OUTSIDE_DB:g} dB and gain error ≤ {OUTSIDE_GAIN_DB:g} dB rms for {met} of "
            f"{len(other)}; of the others a sentence says that no model of the family meets them."
        )
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--drawn", type=int, default=0, help="compressors drawn inside the family")
    parser.add_argument("--stage", nargs="*", default=[], help="stages of the zoo; foreign: eight and more")
    parser.add_argument("--recipe", default="standard")
    parser.add_argument("--rate", type=int, default=48_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    chosen = parser.parse_args()
    names = [one for name in chosen.stage for one in (FOREIGN if name == "foreign" else (name,))]
    jobs = [("drawn", chosen.seed + i) for i in range(chosen.drawn)] + [(name, chosen.seed) for name in names]
    run: Callable[[tuple[str, int]], Row] = partial(outcome, recipe=chosen.recipe, rate_hz=chosen.rate)
    rows = []
    with ProcessPoolExecutor(chosen.jobs) as pool:
        for row in pool.map(run, jobs):
            rows.append(row)
            print(f"{row.name:24} {row.residual_db:7.1f} dB {row.gain_error_db:7.3f} dB {row.cpu_s:5.0f} s", row.off,
                  row.held, row.said, file=sys.stderr, flush=True)  # fmt: skip
    print(text := table(rows))
    if chosen.write:
        stated = f"--recipe {chosen.recipe} --rate {chosen.rate} --drawn {chosen.drawn} --seed {chosen.seed}"
        command = (
            f"python -m tests.benchmarks.replica_bench {stated} --stage {' '.join(chosen.stage)} --write"
        )
        write_section("replica", f"Fit and proof, {chosen.recipe}, {chosen.rate} Hz", command, text)


if __name__ == "__main__":
    main()
