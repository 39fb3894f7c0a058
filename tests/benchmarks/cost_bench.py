"""What the main commands cost: time against plain reading and FFTs of the same sound, memory against its length.

Run ``python -m tests.benchmarks.cost_bench`` from the repository's top; ``--write`` puts the table into ``docs/accuracy/cost.md``.
Every figure is a ratio of two runs made one after the other, so that the machine matters little. Needs Linux (``/proc``).
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from charprobe.files.sound_file import write_wav
from charprobe.stimulus.kinds.programme import generate
from tests.benchmarks.written import write_section

RATE_HZ = 48_000
RIG = ("--gain", "-9", "--noise", "-110", "--bits", "24", "--delay", "1490.37")
SHORT_MIN, LONG_MIN = 12, 36
STARTED = """
import json, sys, time
from pathlib import Path
{code}
peak = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
print(json.dumps([time.process_time(), int(peak.split()[1]) / 1024]), file=sys.stderr)
"""
COMMAND = """
from charprobe.cli import main
try:
    main({arguments!r})
except SystemExit as end:
    assert not end.code, end.code
"""
FEW_FFTS = """
from scipy.fft import next_fast_len, rfft
from charprobe.files.sound_file import open_capture
for name in {names!r}:
    source = open_capture(Path(name))
    sound = source.read_frames(0, source.frames)
    for _ in range(4):
        rfft(sound, next_fast_len(source.frames, real=True), axis=0)
"""


def cost(code: str) -> tuple[float, float]:
    """CPU seconds and peak memory in MB of some code in a process of its own."""
    ran = subprocess.run(
        [sys.executable, "-c", STARTED.format(code=code)], capture_output=True, text=True, check=True
    )
    seconds, megabytes = json.loads(ran.stderr.splitlines()[-1])
    return float(seconds), float(megabytes)


def command(*arguments: str | Path) -> tuple[float, float]:
    return cost(COMMAND.format(arguments=[str(part) for part in arguments]))


def few_ffts(*files: Path) -> tuple[float, float]:
    """Read whole files and take four FFTs of each: what an analysis cannot do without."""
    return cost(FEW_FFTS.format(names=[str(file) for file in files]))


def made_pair(folder: Path, minutes: int) -> tuple[Path, Path]:
    """Music of so many minutes, every one different, and the same through a moving gain and a saturation."""
    rng = np.random.default_rng([3, minutes])
    dry = np.concatenate(
        [0.5 * generate("music", seconds=60.0, rate_hz=RATE_HZ, rng=rng) for _ in range(minutes)]
    )
    gain = 10 ** ((-3 + 2 * np.sin(2 * np.pi * 0.7 * np.arange(dry.size) / RATE_HZ)) / 20)
    wet = np.tanh(0.5 * gain * dry) / 0.5 + 1e-5 * rng.standard_normal(dry.size)
    paths = folder / f"dry {minutes}.wav", folder / f"wet {minutes}.wav"
    for path, samples in zip(paths, (dry, wet), strict=True):
        write_wav(path, samples, rate_hz=RATE_HZ, subtype="pcm24", force=False)
    return paths


def rows_of_measuring(folder: Path) -> list[Sequence[str]]:
    played, off, on = (folder / f"{name}.wav" for name in ("played", "off", "on"))
    command("stimulus", "standard", "--out", played)
    for stage, out in (("plain-wire", off), ("coloured-compressor", on)):
        command("simulate", stage, played, "--out", out, *RIG)
    start, _ = cost("import charprobe")
    least, _ = few_ffts(on, off)
    check, _ = command("check", on)
    measure, _ = command("measure", on, "--bypass", off, "--setting", "x", "--out", folder / "x.json")
    help_s, _ = command("--help")
    return [
        ("`charprobe --help`, CPU time re `import charprobe`", f"{help_s / start:.1f}"),
        ("`check` of a `standard` capture, CPU time re reading it and four FFTs", f"{check / least:.1f}"),
        ("`measure` with bypass, `standard`, CPU time re the same", f"{measure / least:.1f}"),
    ]


def rows_of_pairs(folder: Path) -> list[Sequence[str]]:
    found = {}
    for minutes in (SHORT_MIN, LONG_MIN):
        files = made_pair(folder, minutes)
        found[minutes] = command("ab", *files, "--out", folder / f"pair {minutes}")
        for path in files:
            path.unlink()
    (short_s, short_mb), (long_s, long_mb) = found[SHORT_MIN], found[LONG_MIN]
    lengths = f"{LONG_MIN} min re {SHORT_MIN} min of one channel"
    return [
        (f"`ab`, CPU time, {lengths} ({LONG_MIN // SHORT_MIN} times the sound)", f"{long_s / short_s:.1f}"),
        (f"`ab`, peak memory, {lengths} ({short_mb:.0f} MB)", f"{long_mb / short_mb:.2f}"),
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="put the table into docs/accuracy/cost.md")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        rows = [*rows_of_measuring(Path(name)), *rows_of_pairs(Path(name))]
    table = "\n".join(["| what | ratio |", "|---|---|", *(f"| {what} | {ratio} |" for what, ratio in rows)])
    print(table)
    if options.write:
        write_section("cost", "Cost", "python -m tests.benchmarks.cost_bench --write", table)


if __name__ == "__main__":
    main()
