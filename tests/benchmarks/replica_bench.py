"""Fit replicas to devices of other code and hold proofs and parameters against the truth.

``python -m tests.benchmarks.replica_bench [--drawn N] [--any N] [--bent N] [--stage NAME...] [--recipe FILE] [--rate HZ...] [--seed N]
[--jobs 2] [--results FILE] [--write]`` draws N compressors of `simulation.devices` with one structure and many numbers,
N of any structure of the family (``--any``), N whose times are none (``--bent``), at the rates in turn, and takes stages of the zoo by name (``foreign`` stands for ten processors that are not ours, ``otherwise`` for
stages of the zoo's own whose laws differ from a drawn one's); ``--write`` puts the tables into `docs/accuracy/replica.md`.
Left out, the recipe is `standard`; `quick` with eight seconds of programme is the short one (``--recipe short``).
A row that the file of results holds is not run again: a bench that was stopped goes on from there.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from functools import partial
from importlib import resources
from pathlib import Path

import numpy as np

from charprobe.files.sound.source import MemoryCapture
from charprobe.replica.fitting.fit import fit_replica
from charprobe.replica.fitting.structures import Structure
from charprobe.replica.flat import value_at
from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.simulation.devices.parts.gain_computer import Bend
from charprobe.stimulus.recipe import Recipe, load_recipe, parse_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.arrays import Array
from charprobe.values.errors import CharprobeError
from charprobe.values.quantity import Z95
from tests.benchmarks.bent_devices import BentCompressor, draw_bent
from tests.benchmarks.feedback_loop import FeedbackLoop
from tests.benchmarks.replica_family import draw_device
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
BUILT_OTHERWISE = (
    "gain-wobble", "two-bands", "odd", "clean", "mean-square", "feedback-mean-square", "decoupled-reduction", "log-branching",
    "peak-decay", "second-bend", "low-cut-detector", "held-release", "programme-release", "optical-memory", "core-behind",
    "ahead-limiter",
)  # fmt: skip
TRUE_WORDS = Structure().in_words()  # of every drawn compressor
DRAWN = ("drawn-", "any-", "bent-")
PLACES = {
    "threshold": "cell.bends.0.threshold_dbfs", "slope": "cell.bends.0.slope", "knee": "cell.bends.0.knee_db",
    "attack": "cell.smoothing.attack_s", "release": "cell.smoothing.release_s", "make-up": "cell.makeup_db",
}  # fmt: skip


@dataclass(frozen=True)
class Row:
    """What came of one device: proof, time, and for drawn ones the errors of parameters and what intervals hold."""

    name: str
    rate_hz: int
    recipe: str
    residual_db: float
    gain_error_db: float
    noise_db: float
    cpu_s: float
    said: str
    device: str = ""
    found: bool = False
    off: tuple[float, ...] = ()
    held: tuple[bool, ...] = ()
    sigmas: tuple[float, ...] = ()

    @property
    def key(self) -> tuple[str, int, str]:
        """What tells it from other rows."""
        return self.name, self.rate_hz, self.recipe


def recipe_called(name: str) -> Recipe:
    """The recipe of that name; "short" is `quick` with programme."""
    if name != "short":
        return load_recipe(name)
    text = (resources.files("charprobe.recipes") / "quick.toml").read_text(encoding="utf-8")
    return parse_recipe(text.replace('name = "quick"', 'name = "short"') + PROGRAMME, source="short")


def recorded(through: Array, played: Array, *, rate_hz: int) -> tuple[MemoryCapture, MemoryCapture]:
    """Capture and bypass, `DOWN_DB` at the recorder."""
    recorder = Recorder(noise_dbfs=-110.0)
    wet, dry = (
        recorder.record(10 ** (DOWN_DB / 20) * sound, rate_hz=rate_hz, seed=number)
        for number, sound in enumerate((through, played))
    )
    return MemoryCapture(wet, rate_hz=rate_hz), MemoryCapture(dry, rate_hz=rate_hz, name="bypass")


def outcome(job: tuple[str, int], *, recipe: str, seed: int) -> Row:
    """Capture and fit one device."""
    name, rate_hz = job
    drawn = name.startswith(DRAWN)
    seed = int(name.split("-")[1]) if drawn else seed
    stimulus = lay_out(recipe_called(recipe), rate_hz=rate_hz, take=1)
    played, rng = render(stimulus), np.random.default_rng(seed)
    device: Compressor | None = None
    kind, true_words, higher_db = "", TRUE_WORDS, 0.0
    if name.startswith("any-"):
        any_one = draw_device(rng, name=name)
        through = any_one.stage.process(played, rate_hz=rate_hz, rng=rng).samples
        kind, true_words = f"{any_one.words}; {_in_words(any_one.cell)}", any_one.structure.in_words()
        if isinstance(any_one.cell, Compressor):
            device, higher_db = any_one.cell, any_one.higher_db
    elif name.startswith("bent-"):
        bent = draw_bent(rng, name=name)
        through, true_words = (
            bent.process(played, rate_hz=rate_hz, rng=rng).samples,
            bent.structure.in_words(),
        )
        kind = f"{true_words}; {_in_words(bent)}"
    elif drawn:
        device = draw_compressor(rng, name=name)
        through = device.process(played, rate_hz=rate_hz, rng=rng).samples
        kind = _in_words(device)
    else:
        through = stages()[name].process(played, rate_hz).sound
    wet, dry = recorded(through, played, rate_hz=rate_hz)
    began = time.process_time()
    try:
        fit = fit_replica(wet, stimulus, bypass=dry, channel=1, setting=name)
    except CharprobeError as error:
        return Row(
            name,
            rate_hz,
            recipe,
            np.nan,
            np.nan,
            np.nan,
            time.process_time() - began,
            str(error),
            kind,
        )
    taken, replica = time.process_time() - began, fit.replica
    proof = replica.proofs[0] if replica.proofs else None
    residual, error_db = (proof.residual_db, proof.gain_error_db) if proof else (np.nan, np.nan)
    noise_db = proof.noise_db if proof else np.nan
    said = replica.notes[0] if residual <= OUTSIDE_DB else " ".join(replica.notes[:2])
    found = true_words in (replica.notes[0].removeprefix("Gain cell: ").split(";")[0], *replica.equally_good)
    known = (name, rate_hz, recipe, residual, error_db, noise_db, taken, said, kind, found)
    if device is None or not replica.chain.cell.bends:
        return Row(*known)
    if (
        name.startswith("any-") and true_words not in replica.notes[0]
    ):  # numbers of another structure mean others
        return Row(*known)
    bend = device.bends[0]
    truth = (
        bend.threshold_dbfs + DOWN_DB - higher_db, bend.slope, bend.knee_db, device.attack_s, device.release_s, device.makeup_db
    )  # fmt: skip
    posterior = replica.posterior
    off, held, sigmas = [], [], []
    for true, place in zip(truth, PLACES.values(), strict=True):
        value, at = value_at(replica.chain, place), posterior.places.index(place)
        log = posterior.logarithmic[at]
        miss = float(np.log(value / true)) if log else value - true
        off.append(abs(miss) if log else abs(miss) / max(abs(true), 1.0))
        std = float(np.sqrt(posterior.covariance[at][at]))
        held.append(bool(abs(miss) <= Z95 * std))
        sigmas.append(miss / max(std, 1e-12))
    return Row(*known, tuple(off), tuple(held), tuple(sigmas))


def _in_words(device: Compressor | BentCompressor | FeedbackLoop) -> str:
    if isinstance(device, FeedbackLoop):
        bend = Bend(device.threshold_dbfs, 1 - 1 / device.ratio, device.knee_db)
    else:
        bend = device.bends[0]
    ratio = f"{1 / (1 - bend.slope):.3g}:1" if bend.slope < 1 else "limiter"
    return (
        f"{ratio}, knee {bend.knee_db:.0f} dB, {bend.threshold_dbfs + DOWN_DB:.0f} dBFS, "
        f"{1e3 * device.attack_s:.2g} ms, {device.release_s:.2g} s, {device.makeup_db:+.0f} dB"
    )


def table(rows: Sequence[Row]) -> str:
    """All rows, the sentence of those a model does not meet at full length."""
    lines = [
        "| device | residual | noise alone | gain error | CPU | said |",
        "|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {row.name}{f': {row.device}' if row.device else ''}; {row.rate_hz} Hz | {row.residual_db:.1f} dB | {row.noise_db:.1f} dB | {row.gain_error_db:.3f} dB | "
        f"{row.cpu_s:.0f} s | {row.said} |"
        for row in rows
    ]
    drawn = [row for row in rows if row.name.startswith(DRAWN)]
    other = [row for row in rows if not row.name.startswith(DRAWN)]
    if drawn:
        good = sum(row.residual_db <= INSIDE_DB for row in drawn)
        noisy = sum(INSIDE_DB < row.residual_db <= row.noise_db + 3 for row in drawn)
        near = sum(row.gain_error_db <= INSIDE_GAIN_DB for row in drawn)
        lines.append(
            f"\nInside the family: residual ≤ {INSIDE_DB:g} dB for {good} of {len(drawn)}, {noisy} more within 3 dB of "
            f"what noise alone leaves; gain error ≤ {INSIDE_GAIN_DB:g} dB rms for {near}; "
            f"the structure is the true one, or that is named as explaining it as well, for "
            f"{sum(row.found for row in drawn)}."
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


def _held(path: Path | None) -> list[Row]:
    """Rows of a file of results."""
    if path is None or not path.exists():
        return []
    rows = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    return [Row(**{k: tuple(v) if isinstance(v, list) else v for k, v in row.items()}) for row in rows]


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--drawn", type=int, default=0, help="compressors drawn inside the family")
    parser.add_argument("--any", type=int, default=0, help="devices of any structure of the family")
    parser.add_argument("--bent", type=int, default=0, help="devices whose times are none")
    parser.add_argument("--stage", nargs="*", default=[], help="stages of the zoo; foreign: eight and more")
    parser.add_argument("--recipe", default="standard")
    parser.add_argument("--rate", type=int, nargs="*", default=[48_000])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--results", type=Path, help="file that holds rows, and gets new ones")
    parser.add_argument("--write", action="store_true")
    chosen = parser.parse_args()
    sets = {"foreign": FOREIGN, "otherwise": BUILT_OTHERWISE}
    names = [one for name in chosen.stage for one in sets.get(name, (name,))]
    jobs = [(f"drawn-{chosen.seed + i}", chosen.rate[i % len(chosen.rate)]) for i in range(chosen.drawn)]
    jobs += [(f"any-{chosen.seed + i}", chosen.rate[i % len(chosen.rate)]) for i in range(chosen.any)]
    jobs += [(f"bent-{chosen.seed + i}", chosen.rate[i % len(chosen.rate)]) for i in range(chosen.bent)]
    jobs += [(name, chosen.rate[0]) for name in names]
    run: Callable[[tuple[str, int]], Row] = partial(outcome, recipe=chosen.recipe, seed=chosen.seed)
    known = {row.key: row for row in _held(chosen.results)}
    new = [(name, rate_hz) for name, rate_hz in jobs if (name, rate_hz, chosen.recipe) not in known]
    with ProcessPoolExecutor(chosen.jobs) as pool:
        for row in pool.map(run, new):
            known[row.key] = row
            if chosen.results:
                with chosen.results.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(asdict(row)) + "\n")
            print(f"{row.name:24} {row.residual_db:7.1f} dB {row.gain_error_db:7.3f} dB {row.cpu_s:5.0f} s", row.off,
                  row.held, row.said, file=sys.stderr, flush=True)  # fmt: skip
    rows = [known[name, rate_hz, chosen.recipe] for name, rate_hz in jobs]
    print(text := table(rows))
    if chosen.write:
        rates = " ".join(map(str, chosen.rate))
        stated = f"--recipe {chosen.recipe} --rate {rates} --drawn {chosen.drawn} --any {chosen.any} --bent {chosen.bent} --seed {chosen.seed}"
        command = (
            f"python -m tests.benchmarks.replica_bench {stated} --stage {' '.join(chosen.stage)} --write"
        )
        write_section("replica", f"Fit and proof, {chosen.recipe}, {rates} Hz", command, text)


if __name__ == "__main__":
    main()
