"""How close an unprinted take comes to the dry one, how often its bound holds, what it costs.

``python -m tests.benchmarks.unprint_bench --write``; `--draws` for other numbers of wrong replicas, `--minutes` for the
length of the take that is timed. Takes are printed by the simulated compressors, which share no code with the
replicas that take them back.
"""

from __future__ import annotations

import argparse
import dataclasses
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from charprobe.files.sound.sound_file import open_capture, write_wav, write_wav_blocks
from charprobe.replica.flat import value_at, with_values
from charprobe.replica.model import SCHEMA, Posterior, Proof, Replica
from charprobe.replica.parts import Bend, Cell, Chain, Colour, Detector, Smoothing
from charprobe.replica.unprint import Unprinted, unprint
from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.simulation.devices.parts.gain_computer import Bend as TrueBend
from charprobe.stimulus.kinds.material import generate
from charprobe.values.errors import ReplicaError
from tests.benchmarks.written import write_section

RATE, SECONDS, NOISE_DBFS, WINDOW = 48_000, 8.0, -110.0, 12_000
GOALS = {2.5: -62.0, 6.0: -53.0, 20.0: -45.0}
WORDS = (
    "Takes of 8 s (band, voice, drums) printed by simulated compressors with drawn numbers and -110 dBFS of noise, taken back by a "
    "replica of the same structure: with the very same numbers, and with numbers off at random by 0.003 dB of threshold, 0.05 % of "
    "slope, 0.01 dB of knee, 0.1 and 0.2 % of attack and release, 0.001 dB of make-up (one standard deviation, which the replica "
    "knows). Error over the energy of the dry take; the bound is asked in every quarter of a second.",
    "",
)
PLACES = (
    "cell.bends.0.threshold_dbfs", "cell.bends.0.slope", "cell.bends.0.knee_db", "cell.smoothing.attack_s",
    "cell.smoothing.release_s", "cell.makeup_db",
)  # fmt: skip
LOGARITHMIC = (False, False, False, True, True, False)


def stage_of(ratio: float, rng: np.random.Generator) -> tuple[Compressor, Chain]:
    """A simulated compressor and the chain with the very same numbers."""
    threshold, knee = rng.uniform(-28, -20), rng.uniform(0, 8)
    attack, release, mean = rng.uniform(0.003, 0.01), rng.uniform(0.08, 0.2), rng.uniform(0.001, 0.004)
    exponent = int(rng.integers(1, 3))
    device = Compressor(
        "drawn", "", (TrueBend(threshold, 1 - 1 / ratio, knee),), attack_s=attack, release_s=release, makeup_db=3.0,
        detector="rms" if exponent == 2 else "average", averaging_s=mean,
    )  # fmt: skip
    cell = Cell(
        Detector("mean", float(exponent), mean, mean),
        (Bend(threshold, 1 - 1 / ratio, knee),),
        Smoothing(attack_s=attack, release_s=release),
        makeup_db=3.0,
    )
    return device, Chain(cell=cell)


def spread_of(ratio: float) -> np.ndarray:
    """Standard deviation of each number: 0.003 dB, 0.05 % of the slope, 0.01 dB, 0.1 and 0.2 %, 0.001 dB."""
    return np.array([0.003, 0.0005 * (1 - 1 / ratio), 0.01, 0.001, 0.002, 0.001])


def replica_of(chain: Chain, std: np.ndarray | None) -> Replica:
    known = Posterior()
    if std is not None:
        known = Posterior(PLACES, LOGARITHMIC, tuple(map(tuple, np.diag(std**2).tolist())))
    return Replica(
        schema=SCHEMA, setting="drawn", channel=1, rate_hz=RATE, chain=chain, posterior=known, lowest_dbfs=-60.0,
        highest_dbfs=0.0, highest_peak_dbfs=0.0, noise_dbfs=NOISE_DBFS,
        proofs=() if std is not None else (Proof("nothing", -150.0, 0.0, 1.0),),
    )  # fmt: skip


def moved(chain: Chain, std: np.ndarray, rng: np.random.Generator) -> Chain:
    values = []
    for place, logarithmic, step in zip(
        PLACES, LOGARITHMIC, std * rng.standard_normal(std.size), strict=True
    ):
        value = value_at(chain, place)
        values.append(value * np.exp(step) if logarithmic else value + step)
    values[2] = max(values[2], 0.0)
    return with_values(chain, PLACES, values)


def taken_back(replica: Replica, folder: Path, dry: np.ndarray) -> tuple[Unprinted, float, float]:
    """What is stated, the true error in dB, and the share of windows in which the bound holds."""
    made = unprint(replica, folder / "printed.wav", folder / "dry.wav", force=True)
    found = open_capture(folder / "dry.wav").read_frames(0, dry.size)[:, 0]
    count = dry.size // WINDOW
    error, energy = (
        np.sum(part[: count * WINDOW].reshape(count, WINDOW) ** 2, axis=1) for part in (found - dry, dry)
    )
    known = ~np.isnan(made.over_time_db[:count])
    held = 10 * np.log10(error[known] / energy[known] + 1e-30) <= made.over_time_db[:count][known]
    return made, float(10 * np.log10(error.sum() / energy.sum())), float(np.mean(held))


def accuracy(draws: int, folder: Path) -> Iterator[str]:
    yield (
        "| ratio | printed misses | exact numbers | wrong numbers: median, worst | goal | stated, median | bound holds |"
    )
    yield ("|---|---|---|---|---|---|---|")
    for ratio, goal in GOALS.items():
        exact, errors, stated, held, misses = [], [], [], [], []
        for draw in range(draws):
            rng = np.random.default_rng([round(10 * ratio), draw])
            device, chain = stage_of(ratio, rng)
            kind = ("music", "speech", "drums")[draw % 3]
            dry = generate(kind, seconds=SECONDS, rate_hz=RATE, rng=rng)
            out = device.process(dry, rate_hz=RATE, rng=rng).samples
            out = out + 10 ** (NOISE_DBFS / 20) / np.sqrt(2) * rng.standard_normal(out.size)
            write_wav(folder / "printed.wav", out, rate_hz=RATE, subtype="float32", force=True)
            exact.append(taken_back(replica_of(chain, None), folder, dry)[1])
            std = spread_of(ratio)
            made, error, share = taken_back(replica_of(moved(chain, std, rng), std), folder, dry)
            errors.append(error)
            stated.append(made.error_db)
            misses.append(made.printed_db)
            held.append(share)
        yield (
            f"| {ratio:g}:1 | {np.median(misses):.0f} dB | {np.median(exact):.0f} dB | {np.median(errors):.0f}, "
            f"{max(errors):.0f} dB | {goal:.0f} dB | {np.median(stated):.0f} dB | {100 * np.mean(held):.0f} % |"
        )


def wrong(folder: Path) -> Iterator[str]:
    """Takes printed at 4:1 taken back with another setting: how many are refused, how many told, the rest how far off."""
    yield "| wrong setting | refused | told in a note | off, stated bound of the others |"
    yield "|---|---|---|---|"
    bend = "cell.bends.0."
    for name, place, value in (
        ("threshold 10 dB lower", bend + "threshold_dbfs", lambda x: x - 10), ("threshold 10 dB higher", bend + "threshold_dbfs", lambda x: x + 10),
        ("10:1", bend + "slope", lambda _: 0.9), ("2:1", bend + "slope", lambda _: 0.5),
        ("tenfold slower", "cell.smoothing.release_s", lambda x: 10 * x), ("6 dB more make-up", "cell.makeup_db", lambda x: x + 6),
    ):  # fmt: skip
        refused, told, rest = 0, 0, []
        for draw, kind in enumerate(("music", "speech", "drums")):
            rng = np.random.default_rng([4, draw])
            device, chain = stage_of(4.0, rng)
            dry = generate(kind, seconds=SECONDS, rate_hz=RATE, rng=rng)
            write_wav(
                folder / "printed.wav",
                device.process(dry, rate_hz=RATE, rng=rng).samples,
                rate_hz=RATE,
                subtype="float32",
                force=True,
            )
            other = with_values(chain, [place], [value(value_at(chain, place))])
            try:
                made, error, _ = taken_back(replica_of(other, spread_of(4.0)), folder, dry)
            except ReplicaError:
                refused += 1
                continue
            if any("another setting comes back like this" in note for note in made.notes):
                told += 1
            else:
                rest.append(f"{error:.0f}, {made.bound_db:.0f} dB")
        yield f"| {name} | {refused} of 3 | {told} | {'; '.join(rest)} |"
    yield "\nWith a replica of another setting the bound means nothing: what is neither refused nor told is listed."


def cost(minutes: float, folder: Path) -> Iterator[str]:
    sizes = np.linspace(0.1, 1.0, 10)
    bent = {"amplitude": sizes, "odd_db": -2 * sizes**2, "even_db": 0.2 * sizes}
    colour = Colour(**{key: tuple(part.tolist()) for key, part in bent.items()})
    device, chain = stage_of(4.0, np.random.default_rng(1))
    piece = generate("music", seconds=30.0, rate_hz=RATE, rng=np.random.default_rng(2))
    out = device.process(piece, rate_hz=RATE, rng=np.random.default_rng(0)).samples
    yield "| take, mono, 48 kHz | CPU time, start included | x real time | peak memory |"
    yield "|---|---|---|---|"
    for name, stage, length in (
        ("30 s", chain, 0.5),
        (f"{minutes:g} min", chain, minutes),
        ("30 s with colour", dataclasses.replace(chain, colour=colour), 0.5),
    ):
        count = round(2 * length)
        size = (count * out.size, 1)
        blocks = (out[:, None] for _ in range(count))
        write_wav_blocks(
            folder / "printed.wav", blocks, size=size, rate_hz=RATE, subtype="float32", force=True
        )
        replica_of(stage, spread_of(4.0)).save(folder / "a.replica.json", force=True)
        words = ["unprint", "a.replica.json", "printed.wav", "--out", "dry.wav", "--force"]
        child = subprocess.Popen(
            [sys.executable, "-m", "charprobe", *words], cwd=folder, stdout=subprocess.DEVNULL
        )
        _, _, used = os.wait4(child.pid, 0)
        spent, most = used.ru_utime + used.ru_stime, used.ru_maxrss / 1024
        yield f"| {name} | {spent:.1f} s | {60 * length / spent:.0f} | {most:.0f} MB |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=9)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--write", action="store_true", help="put the tables into docs/accuracy/replica.md")
    asked = parser.parse_args()
    lines = []
    with tempfile.TemporaryDirectory() as name:
        for line in (
            *WORDS,
            *accuracy(asked.draws, Path(name)),
            "",
            *wrong(Path(name)),
            "",
            *cost(asked.minutes, Path(name)),
        ):
            print(line, flush=True)
            lines.append(line)
    if asked.write:
        command = f"python -m tests.benchmarks.unprint_bench --draws {asked.draws} --minutes {asked.minutes:g} --write"
        write_section("replica", "Taking a printed take back", command, "\n".join(lines))


if __name__ == "__main__":
    main()
