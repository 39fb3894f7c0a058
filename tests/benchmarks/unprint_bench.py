"""How close an unprinted take comes to the dry one, how often its bound holds, what it costs.

``python -m tests.benchmarks.unprint_bench [--part accuracy wrong shapes foreign captured cost] --write``; `--draws` for other numbers of
slightly wrong replicas, `--minutes` for the length of the take that is timed. Takes are printed by simulated compressors, which share no code with the
replicas that take them back, and by effects that are not ours, whose replicas are fitted to a capture first.
"""

from __future__ import annotations

import argparse
import dataclasses
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np
from scipy.signal import fftconvolve, lfilter

from charprobe.files.sound.sound_file import open_capture, write_wav, write_wav_blocks
from charprobe.replica.fitting.fit import fit_replica
from charprobe.replica.flat import value_at, with_values
from charprobe.replica.model import SCHEMA, Posterior, Proof, Replica
from charprobe.replica.parts import UNLIMITED_DB, Bend, Cell, Chain, Colour, Detector, Smoothing
from charprobe.replica.unprint import Unprinted, unprint
from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.simulation.devices.parts.gain_computer import Bend as TrueBend
from charprobe.stimulus.kinds.material import PEAK, Material, generate
from charprobe.stimulus.render import lay_out, render
from charprobe.values.errors import ReplicaError
from tests.benchmarks.replica_bench import DOWN_DB, recipe_called, recorded
from tests.benchmarks.written import write_section
from tests.benchmarks.zoo.catalogue import stages

RATE, SECONDS, NOISE_DBFS, WINDOW = 48_000, 8.0, -110.0, 12_000
Made = Callable[[np.random.Generator], np.ndarray]
Printed = Callable[[np.ndarray, np.random.Generator], np.ndarray]
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
NAMES: dict[Material, str] = {
    "music": "band",
    "speech": "voice",
    "drums": "drums",
    "plucked": "plucked",
    "sustained": "sustained",
}
KINDS = tuple(NAMES)
WARNINGS = ("another setting comes back like this", "It was not, as far as the take tells")
NEVER = "never printed"
AHEAD_DBFS = -80.0  # noise of a microphone ahead of the stage
TAKEN_BACK = (
    "ffmpeg-acompressor-1", "cmt-compress-rms-1", "sox-compand-1", "swh-sc4m-1", "tap-dynamics-1", "ffmpeg-compand-1",
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


def shape(
    name: str,
    bends: tuple[TrueBend, ...],
    cell: Cell,
    *,
    shelf: tuple[float, float] | None = None,
    **parts: float,
) -> tuple[str, Printed, Chain]:
    """A simulated stage and the chain with its numbers; with a treble shelf, corner and gain, ahead of its detector."""
    device = Compressor(
        name,
        "",
        bends,
        attack_s=cell.smoothing.attack_s,
        release_s=cell.smoothing.release_s,
        detector="rms",
        averaging_s=DETECTOR.rise_s,
        **parts,
    )

    def printed(dry: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        if shelf is None:
            return device.process(dry, rate_hz=RATE, rng=rng).samples
        corner, root = np.tan(np.pi * shelf[0] / RATE), 10 ** (shelf[1] / 40)
        b, a = (corner + root, corner - root), (corner + 1 / root, corner - 1 / root)
        heard = lfilter(np.array(b) / a[0], np.array(a) / a[0], dry)
        return dry * 10 ** (-device.reduction_db(heard, rate_hz=RATE) / 20)

    same = tuple(
        Bend(b.threshold_dbfs, b.slope, b.knee_db, b.side, min(b.most_db, UNLIMITED_DB)) for b in bends
    )
    return name, printed, Chain(cell=dataclasses.replace(cell, bends=same))


PACE = Smoothing(attack_s=0.004, release_s=0.12)
DETECTOR = Detector("mean", 2.0, 0.003, 0.003)
MEAN = Cell(DETECTOR, smoothing=PACE)
ABOVE = TrueBend(-26.0, 0.75, 4.0)
SHAPE_STD = np.array([0.003, 0.0004, 0.01, 0.001, 0.002, 0.001])
SHAPES = (
    shape("expander 1:2 below -40 dBFS, 20 dB of range", (TrueBend(-40.0, 1.0, 6.0, "below", 20.0),), MEAN),
    shape("gate 1:5 below -45 dBFS, 40 dB of range", (TrueBend(-45.0, 4.0, 2.0, "below", 40.0),), MEAN),
    shape("lift 0.5 below -28 dBFS, at most 12 dB", (TrueBend(-28.0, -0.5, 6.0, "below", 12.0),), MEAN),
    shape("4:1, at most 6 dB", (dataclasses.replace(ABOVE, most_db=6.0),), MEAN),
    shape("4:1 and an expander below -45 dBFS", (ABOVE, TrueBend(-45.0, 1.0, 4.0, "below", 15.0)), MEAN),
    shape("over-compression -4:1", (TrueBend(-26.0, 1.25, 6.0),), MEAN),
    shape("4:1, side-chain low cut 150 Hz", (ABOVE,), dataclasses.replace(MEAN, detector=dataclasses.replace(DETECTOR, low_cut_hz=150.0)), sidechain_low_cut_hz=150.0),
    shape("4:1, side-chain treble shelf +9 dB at 3 kHz", (ABOVE,), dataclasses.replace(MEAN, detector=dataclasses.replace(DETECTOR, shelf_hz=3000.0, shelf_db=9.0)), shelf=(3000.0, 9.0)),
    shape("4:1, hold 30 ms", (ABOVE,), dataclasses.replace(MEAN, smoothing=dataclasses.replace(PACE, hold_s=0.03)), hold_s=0.03),
    shape("4:1, look-ahead 2 ms", (ABOVE,), dataclasses.replace(MEAN, lookahead_s=0.002), lookahead_s=0.002),
)  # fmt: skip


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
    yield from WORDS
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
    """Takes printed at 4:1 taken back with another setting: how many are refused, how many told, how far off the rest."""
    yield "| replica | noise ahead | refused | told in a note | off, stated bound of the others |"
    yield "|---|---|---|---|---|"
    bend = "cell.bends.0."
    for name, place, value in (
        ("the right one", bend + "slope", lambda x: x),
        ("threshold 10 dB lower", bend + "threshold_dbfs", lambda x: x - 10), ("threshold 10 dB higher", bend + "threshold_dbfs", lambda x: x + 10),
        ("threshold 3 dB lower", bend + "threshold_dbfs", lambda x: x - 3), ("threshold 3 dB higher", bend + "threshold_dbfs", lambda x: x + 3),
        ("10:1", bend + "slope", lambda _: 0.9), ("3:1", bend + "slope", lambda _: 2 / 3), ("2:1", bend + "slope", lambda _: 0.5),
        ("tenfold slower", "cell.smoothing.release_s", lambda x: 10 * x), ("fourfold faster", "cell.smoothing.release_s", lambda x: x / 4),
        ("6 dB more make-up", "cell.makeup_db", lambda x: x + 6), (NEVER, bend + "slope", lambda x: x),
    ):  # fmt: skip
        for ahead_dbfs in (None, AHEAD_DBFS):
            refused, told, rest = 0, 0, []
            for draw, kind in enumerate(KINDS):
                rng = np.random.default_rng([4, draw])
                device, chain = stage_of(4.0, rng)
                dry = generate(kind, seconds=SECONDS, rate_hz=RATE, rng=rng)
                if ahead_dbfs is not None:
                    dry = dry + 10 ** (ahead_dbfs / 20) / np.sqrt(2) * rng.standard_normal(dry.size)
                out = dry if name == NEVER else device.process(dry, rate_hz=RATE, rng=rng).samples
                out = out + 10 ** (NOISE_DBFS / 20) / np.sqrt(2) * rng.standard_normal(out.size)
                write_wav(folder / "printed.wav", out, rate_hz=RATE, subtype="float32", force=True)
                other = with_values(chain, [place], [value(value_at(chain, place))])
                try:
                    made, error, _ = taken_back(replica_of(other, spread_of(4.0)), folder, dry)
                except ReplicaError:
                    refused += 1
                    continue
                if any(words in note for note in made.notes for words in WARNINGS):
                    told += 1
                else:
                    rest.append(f"{NAMES[kind]} {error:.0f}, {made.bound_db:.0f} dB")
            noise = "none" if ahead_dbfs is None else f"{ahead_dbfs:.0f} dBFS"
            yield f"| {name} | {noise} | {refused} of {len(KINDS)} | {told} | {'; '.join(rest)} |"
    yield (
        "\nOne take each of band, voice, drums, plucked and sustained sound. With a replica of another setting the bound "
        "means nothing: what is neither refused nor told is listed. Noise ahead of the stage, as a microphone's, is "
        "what tells a setting that takes more; without it only peaks tell."
    )


def shapes(folder: Path) -> Iterator[str]:
    """Takes printed by stages of other shapes, taken back with the very same numbers; or what refuses them."""
    yield "| stage | worst error of three takes | bound holds | refused |"
    yield "|---|---|---|---|"
    for name, stage, chain in SHAPES:
        errors, held, said = [], [], ""
        for draw, kind in enumerate(("music", "speech", "drums")):
            rng = np.random.default_rng([5, draw])
            dry = generate(kind, seconds=SECONDS, rate_hz=RATE, rng=rng)
            dry = dry + 10 ** (AHEAD_DBFS / 20) / np.sqrt(2) * rng.standard_normal(dry.size)
            out = stage(dry, rng) + 10 ** (NOISE_DBFS / 20) / np.sqrt(2) * rng.standard_normal(dry.size)
            write_wav(folder / "printed.wav", out, rate_hz=RATE, subtype="float32", force=True)
            try:
                _, error, share = taken_back(replica_of(moved(chain, SHAPE_STD, rng), SHAPE_STD), folder, dry)
            except ReplicaError as refused:
                said = str(refused).split(": ", 1)[-1].removesuffix(". Nothing was written")
                continue
            errors.append(error)
            held.append(share)
        shown = f"{max(errors):.0f} dB | {100 * np.mean(held):.0f} %" if errors else " | "
        yield f"| {name} | {shown} | {3 - len(errors)} of 3{': ' + said if said else ''} |"


def foreign(folder: Path) -> Iterator[str]:
    """Takes printed by processors that are not ours, taken back by replicas fitted to a capture of each."""
    yield "| processor | proof of the fit | printed misses | off: band, voice, drums | stated | bound holds | refused |"
    yield "|---|---|---|---|---|---|---|"
    for name in TAKEN_BACK:
        stage = stages()[name]
        yield from_capture(name, lambda dry, stage=stage: stage.process(dry, RATE).sound, PLAYED[:3], folder, rest_s=stage.calm_s)  # fmt: skip
    yield f"\nNoise of {AHEAD_DBFS:.0f} dBFS lies ahead of every processor, {NOISE_DBFS:.0f} dBFS behind it; recipe `short`, with search."


def captured(draws: int, folder: Path) -> Iterator[str]:
    """The same of simulated compressors with drawn numbers, and takes as rooms, clipping and lossy coding leave them."""
    yield f"| ratio | proof of the fit | printed misses | off: {', '.join(name for name, _ in PLAYED)} | stated | bound holds | refused |"
    yield "|---|---|---|---|---|---|---|"
    for ratio in GOALS:
        for draw in range(draws):
            rng = np.random.default_rng([round(10 * ratio), 50 + draw])
            device, _ = stage_of(ratio, rng)

            def process(dry: np.ndarray, device: Compressor = device) -> np.ndarray:
                return device.process(dry, rate_hz=RATE, rng=np.random.default_rng(0)).samples

            yield from_capture(f"{ratio:g}:1", process, PLAYED, folder)
    yield f"\nNoise of {AHEAD_DBFS:.0f} dBFS lies ahead of every stage, {NOISE_DBFS:.0f} dBFS behind it; recipe `short`, with search."


def from_capture(
    name: str,
    process: Callable[[np.ndarray], np.ndarray],
    takes: Sequence[tuple[str, Made]],
    folder: Path,
    rest_s: float = 0.0,
) -> str:
    """Capture a stage, fit it, print takes with it and take them back: a row."""
    stimulus, down = lay_out(recipe_called("short"), rate_hz=RATE, take=1), 10 ** (DOWN_DB / 20)
    played, rest = (
        render(stimulus),
        np.zeros(round(rest_s * RATE)),
    )  # some begin as if loud sound had been ahead
    wet, bypass = recorded(process(played), played, rate_hz=RATE)
    replica = fit_replica(wet, stimulus, bypass=bypass, channel=1, setting=name).replica
    misses, errors, stated, held, said = [], [], [], [], ""
    for draw, (_, make) in enumerate(takes):
        rng = np.random.default_rng([6, draw])
        dry = np.append(rest, make(rng))
        dry = dry + 10 ** (AHEAD_DBFS / 20) / np.sqrt(2) * rng.standard_normal(dry.size)
        out = down * process(dry)
        out = out + 10 ** (NOISE_DBFS / 20) / np.sqrt(2) * rng.standard_normal(out.size)
        write_wav(folder / "printed.wav", out, rate_hz=RATE, subtype="float32", force=True)
        try:
            made, error, share = taken_back(replica, folder, down * dry)
        except ReplicaError as refused:
            said = str(refused).split(": ", 1)[-1].removesuffix(". Nothing was written")
            continue
        misses.append(f"{made.printed_db:.0f}")
        errors.append(f"{error:.0f}")
        stated.append(f"{made.error_db:.0f}")
        held.append(share)
    columns = [", ".join(one) + " dB" * bool(one) for one in (misses, errors, stated)]
    holds = f"{100 * np.mean(held):.0f} %" if held else ""
    return (
        f"| {name} | {replica.proofs[0].residual_db:.0f} dB | {' | '.join(columns)} | {holds} | "
        f"{len(takes) - len(errors)} of {len(takes)}{': ' + said if said else ''} |"
    )


def of(kind: Material) -> Made:
    return lambda rng: generate(kind, seconds=SECONDS, rate_hz=RATE, rng=rng)


def in_a_room(rng: np.random.Generator) -> np.ndarray:
    """Three voices at once in a room that rings for 0.6 s."""
    voices = np.sum([of("speech")(rng) for _ in range(3)], axis=0)
    decay = 10 ** (-3 * np.arange(round(0.6 * RATE)) / round(0.6 * RATE))
    tail = fftconvolve(voices, decay * rng.standard_normal(decay.size))[: voices.size]
    mixed = voices + 0.5 * voices.std() / tail.std() * tail
    return np.asarray(mixed / np.abs(mixed).max() * PEAK)


def clipped(rng: np.random.Generator) -> np.ndarray:
    """A band whose converter was overdriven by 8 dB."""
    sound = of("music")(rng)
    return np.clip(sound * 10 ** (8 / 20), -PEAK, PEAK)


def lossy(rng: np.random.Generator) -> np.ndarray:
    """A band that was an MP3 file of 128 kb/s."""
    run = ["ffmpeg", "-v", "error", "-f", "f32le", "-ar", str(RATE), "-ac", "1", "-i", "-"]
    packed = subprocess.run(
        [*run, "-b:a", "128k", "-f", "mp3", "-"],
        input=of("music")(rng).astype("<f4").tobytes(),
        stdout=subprocess.PIPE,
        check=True,
    ).stdout
    back = subprocess.run(
        ["ffmpeg", "-v", "error", "-f", "mp3", "-i", "-", "-f", "f32le", "-ac", "1", "-ar", str(RATE), "-"],
        input=packed,
        stdout=subprocess.PIPE,
        check=True,
    ).stdout
    return np.frombuffer(back, "<f4").astype(float)


PLAYED: tuple[tuple[str, Made], ...] = (
    ("band", of("music")), ("voice", of("speech")), ("drums", of("drums")),
    ("three voices in a room", in_a_room), ("clipped band", clipped), ("MP3 band", lossy),
)  # fmt: skip


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


PARTS: dict[str, tuple[str, Callable[[Path, argparse.Namespace], Iterator[str]]]] = {
    "accuracy": ("Taking a printed take back", lambda folder, asked: accuracy(asked.draws, folder)),
    "wrong": ("With a replica of another setting", lambda folder, _: wrong(folder)),
    "shapes": ("Stages of other shapes taken back", lambda folder, _: shapes(folder)),
    "foreign": (
        "Takes of processors that are not ours, from capture to dry",
        lambda folder, _: foreign(folder),
    ),
    "captured": (
        "From capture to dry, and takes as rooms, clipping and lossy coding leave them",
        lambda folder, asked: captured(asked.draws, folder),
    ),
    "cost": ("What taking back costs", lambda folder, asked: cost(asked.minutes, folder)),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--part", nargs="*", choices=PARTS, default=list(PARTS))
    parser.add_argument("--draws", type=int, default=9)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--write", action="store_true", help="put the tables into docs/accuracy/replica.md")
    asked = parser.parse_args()
    for part in asked.part:
        heading, made = PARTS[part]
        lines = []
        with tempfile.TemporaryDirectory() as name:
            for line in made(Path(name), asked):
                print(line, flush=True)
                lines.append(line)
        if asked.write:
            size = {
                "accuracy": f" --draws {asked.draws}",
                "captured": f" --draws {asked.draws}",
                "cost": f" --minutes {asked.minutes:g}",
            }.get(part, "")
            command = f"python -m tests.benchmarks.unprint_bench --part {part}{size} --write"
            write_section("replica", heading, command, "\n".join(lines))


if __name__ == "__main__":
    main()
