"""What the main commands cost, against what nothing can do without: reading the sound and one pass of FFTs.

Run ``python -m tests.benchmarks.cost_bench`` from the repository's top, with the parts to run if not all;
``--write`` puts the table into ``docs/accuracy/cost.md``. The floor reads the same files with soundfile and takes one
real FFT of every 2^16 samples of every channel. Start-up, the import of every module that a command ends with, is taken off
both. All runs follow one another on one machine, so that the machine matters little. Needs Linux (``/proc``).
"""

from __future__ import annotations

import argparse
import json
import math
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from charprobe.files.sound.sound_file import open_capture, write_wav
from charprobe.stimulus.kinds.material import generate
from tests.benchmarks.written import write_section

RATE_HZ = 48_000
RIG = ("--gain", "-9", "--noise", "-110", "--bits", "24", "--delay", "1490.37")
UNLIKE_A_USER = ("_NUM_THREADS", "PYTHONDONTWRITEBYTECODE")  # who has compiled modules and all threads
AS_A_USER = {name: text for name, text in os.environ.items() if not name.endswith(UNLIKE_A_USER)}
WATCHED_S = 0.05
ROUNDS = 3  # the least of which counts
FLOOR_ROUNDS = 5  # within one process, whose start-up and first reading do not count
STARTED = """
import json, resource, sys
from pathlib import Path
{code}
own = resource.getrusage(resource.RUSAGE_SELF)
peak = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
print(json.dumps([own.ru_utime + own.ru_stime, int(peak.split()[1]) / 1024, list(sys.modules)]), file=sys.stderr)
"""
COMMAND = """
from charprobe.cli import main
try:
    main({arguments!r})
except SystemExit as end:
    assert not end.code, end.code
"""
IMPORTS = """
from contextlib import suppress
from importlib import import_module
for name in {modules!r}:
    with suppress(Exception):
        import_module(name)
"""
FLOOR = """
import numpy, soundfile
for name in {names!r} * {rounds}:
    sound, _ = soundfile.read(name, always_2d=True)
    for channel in sound.T:
        for start in range(0, len(channel), 1 << 16):
            numpy.fft.rfft(channel[start : start + (1 << 16)], 1 << 16)
"""
MEASURED = """
from pathlib import Path
from charprobe.session.file import load_session
from charprobe.session.run import measure_parts
out = Path({out!r})
out.mkdir()
measure_parts(load_session(Path({session!r})), out, jobs={jobs}, progress=lambda outcome: None)
"""
STAGES = ("coloured-compressor", "two-stage-release", "optical-leveller", "feedback-soft")
DEVICE = ("name", "maker", "serial", "firmware", "gain", "play_path", "record_path")
Row = tuple[str, str]


@dataclass(frozen=True)
class Cost:
    """CPU seconds of a process and all it started, and its own; seconds on the clock; peak memory, its own and
    of all at once; modules."""

    cpu_s: float
    own_s: float
    wall_s: float
    megabytes: float
    together_megabytes: float
    modules: tuple[str, ...]


def run(code: str) -> Cost:
    """Run code in a process of its own."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    together = 0.0
    with tempfile.TemporaryFile("w+") as told:
        ran = subprocess.Popen(
            [sys.executable, "-c", STARTED.format(code=code)],
            stdout=subprocess.DEVNULL,
            stderr=told,
            env=AS_A_USER,
        )
        while ran.poll() is None:
            together = max(together, sum(shares_of(ran.pid)) / 1024)
            time.sleep(WATCHED_S)
        wall_s, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
        told.seek(0)
        lines = told.read().splitlines()
    if ran.returncode:
        raise subprocess.CalledProcessError(ran.returncode, code, stderr="\n".join(lines))
    own_s, megabytes, modules = json.loads(lines[-1])
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Cost(cpu_s, own_s, wall_s, float(megabytes), together, tuple(modules))


def shares_of(process: int) -> Iterator[int]:
    """Memory of a process and of all it started, in kB: what several use counts once among them."""
    try:
        own = Path(f"/proc/{process}/smaps_rollup").read_text(encoding="ascii")
        children = Path(f"/proc/{process}/task/{process}/children").read_text(encoding="ascii").split()
    except OSError:  # it has ended
        return
    yield next(int(line.split()[1]) for line in own.splitlines() if line.startswith("Pss:"))
    for child in children:
        yield from shares_of(int(child))


def command(*arguments: str | Path) -> Cost:
    return run(COMMAND.format(arguments=[str(part) for part in arguments]))


def least(call: Callable[[], Cost]) -> Cost:
    return min((call() for _ in range(ROUNDS)), key=lambda cost: cost.cpu_s)


def start_up(of: Cost) -> float:
    """CPU seconds that importing a command's modules takes."""
    return least(lambda: run(IMPORTS.format(modules=of.modules))).cpu_s


def floor(*files: Path) -> float:
    often, once = (
        least(lambda n=n: run(FLOOR.format(names=[str(file) for file in files], rounds=n))).cpu_s
        for n in (1 + FLOOR_ROUNDS, 1)
    )
    return (often - once) / FLOOR_ROUNDS


def recorded(folder: Path, recipe: str) -> tuple[Path, Path, Path]:
    """The stimulus of a recipe, a capture of it through a stage, and its bypass."""
    played, on, off = (folder / f"{recipe} {name}.wav" for name in ("played", "on", "off"))
    command("stimulus", recipe, "--out", played)
    for seed, (stage, out) in enumerate((("plain-wire", off), ("coloured-compressor", on))):
        command("simulate", stage, played, "--out", out, *RIG, "--seed", str(seed))
    return played, on, off


def starting(folder: Path) -> Iterator[Row]:
    help_, click = (
        least(lambda code=code: run(code)) for code in (COMMAND.format(arguments=["--help"]), "import click")
    )
    yield "`--help`, CPU time re importing click (goal 1.3)", f"{help_.cpu_s / click.cpu_s:.2f}"
    imports = least(lambda: run("import charprobe.measuring.check, charprobe.stimulus.cue_sheet"))
    yield (
        "start of `check` to its first look at the capture, CPU time (goal 0.5 s)",
        f"{imports.cpu_s:.2f} s",
    )


def measuring(folder: Path) -> Iterator[Row]:
    for recipe in ("quick", "standard"):
        played, on, off = recorded(folder, recipe)
        out = folder / f"{recipe}.json"
        for name, goal, files, arguments in (
            ("check", 5, (on,), ("check", on, "--stimulus", played)),
            (
                "measure",
                8,
                (on, off),
                ("measure", on, "--stimulus", played, "--bypass", off, "--out", out, "--force"),
            ),
        ):
            done = least(lambda arguments=arguments: command(*arguments))
            work, ground = done.cpu_s - start_up(done), floor(*files)
            what = f"`{name}` of a `{recipe}` capture" + (" with bypass" if off in files else "")
            yield f"{what}, CPU time re the floor (goal {goal})", f"{work / ground:.1f}"
            yield (
                f"{what}: start-up + work, floor, peak memory",
                (f"{done.cpu_s - work:.2f} + {work:.2f} s, {ground:.2f} s, {done.megabytes:.0f} MB"),
            )


def publishing(folder: Path) -> Iterator[Row]:
    session = rack(folder, settings=4, takes=2, channels=1)
    one, two, again = (
        command("session", session, "--out", folder / name, "--jobs", jobs)
        for name, jobs in (("one", "1"), ("two", "2"), ("two", "2"))
    )
    share = two.own_s / two.cpu_s
    yield "`session` of 8 one-channel `quick` captures with page: CPU time", f"{one.cpu_s:.0f} s"
    yield "the same, time on the clock with one process re two (goal 1.8)", f"{one.wall_s / two.wall_s:.2f}"
    yield (
        "the same: share of the CPU time that the first process takes, nearly all while others work",
        f"{100 * share:.0f} %",
    )
    yield "the same, run again with nothing new (goal 3 s): CPU time", f"{again.cpu_s:.1f} s"


def rack(folder: Path, *, settings: int, takes: int, channels: int, rate_hz: int = RATE_HZ) -> Path:
    """The session file of simulated captures, which are made beside it."""
    played = folder / "played.wav"
    command("stimulus", "quick", "--out", played, "--rate", str(rate_hz))
    width = ("--channels", str(channels))
    command("simulate", "plain-wire", played, "--out", folder / "off.wav", *RIG, *width)
    unknown = "".join(f'{key} = "unknown"\n' for key in DEVICE)
    text = f'schema = "charprobe.session/1"\ntitle = "Cost"\nrecipe = "quick"\nbypass = "off.wav"\n[device]\n{unknown}'
    for number, stage in enumerate(STAGES[:settings], start=1):
        names = [f"{number} {take}.wav" for take in range(1, takes + 1)]
        text += f'[[setting]]\nname = "{number}"\ncaptures = {json.dumps(names)}\n'
        for take, name in enumerate(names):
            command(
                "simulate", stage, played, "--out", folder / name, *RIG, *width, "--seed", str(take)
            )  # fmt: skip
    path = folder / "session.toml"
    path.write_text(text, encoding="utf-8")
    return path


def widening(folder: Path) -> Iterator[Row]:
    costs = {}
    for channels, jobs in ((1, 1), (8, 1), (8, 2)):
        place = folder / str(channels)
        session = place / "session.toml"
        if not session.exists():
            place.mkdir()
            rack(place, settings=1, takes=1, channels=channels, rate_hz=96_000)
        code = MEASURED.format(session=str(session), out=str(place / f"out {jobs}"), jobs=jobs)
        costs[channels, jobs] = run(code)
    one, eight, shared = costs.values()
    start_s = start_up(one)
    ratio = (eight.cpu_s - start_s) / (one.cpu_s - start_s)
    yield "eight channels at 96 kHz with a bypass of eight, CPU time re one channel (goal 4)", f"{ratio:.1f}"
    yield "the same, peak memory (goal 400 MB)", f"{eight.megabytes:.0f} MB"
    what = "the same in two processes, start-up of all in it"
    longest_s = shared.own_s + (shared.cpu_s - shared.own_s) / 2
    yield f"{what}, time on the clock re one channel (goal 4)", f"{shared.wall_s / one.wall_s:.1f}"
    yield f"{what}, own CPU time and half of the others' re one channel", f"{longest_s / one.cpu_s:.1f}"
    yield f"{what}, re one process", f"{longest_s / eight.cpu_s:.2f}"
    yield f"{what}: peak memory of all", f"{shared.together_megabytes:.0f} MB"


def demonstrating(folder: Path) -> Iterator[Row]:
    done = command("demo", "--out", folder / "demo")
    ground = floor(*sorted((folder / "demo" / "captures").glob("*.wav")))
    yield "`demo`, CPU time re the floor of its captures (goal 20)", f"{done.cpu_s / ground:.0f}"
    yield "`demo`, time on the clock re CPU time, two cores (goal 0.6)", f"{done.wall_s / done.cpu_s:.2f}"
    yield "`demo`: CPU time, time on the clock", f"{done.cpu_s:.0f} s, {done.wall_s:.0f} s"


def growing(folder: Path) -> Iterator[Row]:
    played, on, off = recorded(folder, "quick")
    for name, more in (("check", ()), ("measure", ("--bypass", off, "--force", "--out", folder / "x.json"))):
        costs = {
            minutes: least(partial(command, name, padded(on, minutes), "--stimulus", played, *more))
            for minutes in (0.5, 3, 30, 60)
        }
        start_s = start_up(costs[3])
        power = math.log((costs[30].cpu_s - start_s) / (costs[0.5].cpu_s - start_s)) / math.log(60)
        what = f"`{name}`, growth of CPU time from 30 s to 30 min of file"
        yield f"{what}: exponent (goal 1.05)", f"{power:.2f}"
        yield (
            f"`{name}`, peak memory, 60 min re 3 min (goal 1.2)",
            f"{costs[60].megabytes / costs[3].megabytes:.2f}",
        )


def padded(capture: Path, minutes: float) -> Path:
    """The capture followed by faint noise up to so many minutes, or whole as it is."""
    out = capture.with_name(f"{capture.stem} {minutes}.wav")
    if not out.exists():
        source = open_capture(capture)
        frames = max(source.frames, round(minutes * 60 * RATE_HZ))
        noise = 1e-5 * np.random.default_rng(3).standard_normal((frames, source.channels))
        noise[: source.frames] = source.read_frames(0, source.frames)
        write_wav(out, noise, rate_hz=RATE_HZ, subtype="pcm24", force=False)
    return out


def pairing(folder: Path) -> Iterator[Row]:
    short, long = (
        command("ab", *made_pair(folder, minutes), "--out", folder / f"pair {minutes}")
        for minutes in (12, 36)
    )
    yield "`ab`, CPU time, 36 min re 12 min of one channel", f"{long.cpu_s / short.cpu_s:.1f}"
    yield f"`ab`, peak memory, the same ({short.megabytes:.0f} MB)", f"{long.megabytes / short.megabytes:.2f}"


def made_pair(folder: Path, minutes: int) -> tuple[Path, Path]:
    """Music of so many minutes, every one different, and the same through a moving gain and a saturation."""
    rng = np.random.default_rng([3, minutes])
    music = [generate("music", seconds=60.0, rate_hz=RATE_HZ, rng=rng) for _ in range(minutes)]
    dry = 0.5 * np.concatenate(music)
    gain = 10 ** ((-3 + 2 * np.sin(2 * np.pi * 0.7 * np.arange(dry.size) / RATE_HZ)) / 20)
    wet = np.tanh(0.5 * gain * dry) / 0.5 + 1e-5 * rng.standard_normal(dry.size)
    paths = folder / f"dry {minutes}.wav", folder / f"wet {minutes}.wav"
    for path, samples in zip(paths, (dry, wet), strict=True):
        write_wav(path, samples, rate_hz=RATE_HZ, subtype="pcm24", force=False)
    return paths


PARTS = {
    "start": starting,
    "measure": measuring,
    "session": publishing,
    "channels": widening,
    "demo": demonstrating,
    "growth": growing,
    "pair": pairing,
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("parts", nargs="*", choices=[[], *PARTS], help="what to run; all by default")
    parser.add_argument("--write", action="store_true", help="put the table into docs/accuracy/cost.md")
    options = parser.parse_args()
    lines = ["| what | found |", "|---|---|"]
    print(*lines, sep="\n")
    for name in options.parts or PARTS:
        with tempfile.TemporaryDirectory() as folder:
            for what, value in PARTS[name](Path(folder)):
                lines.append(f"| {what} | {value} |")
                print(lines[-1], flush=True)
    if options.write:
        write_section("cost", "Cost", "python -m tests.benchmarks.cost_bench --write", "\n".join(lines))


if __name__ == "__main__":
    main()
