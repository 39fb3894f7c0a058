"""Every command against files that nobody vouches for: a message, no traceback, within 1 GB and 30 s?

Run ``python -m tests.benchmarks.hostile_bench`` from the repository's top; ``--write`` puts the table into
``docs/accuracy/faults.md``. Each command runs in a process of its own, forked from one that has the program loaded.
"""

from __future__ import annotations

import argparse
import importlib
import os
import re
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from charprobe.cli import main as charprobe
from tests.benchmarks.hostile_files import Hostile, a_take, make
from tests.benchmarks.hostile_forms import forms
from tests.benchmarks.hostile_lies import lies
from tests.benchmarks.written import write_section

MOST_BYTES, MOST_S = 1 << 30, 30
LONG_S, MUCH_MB = 1.0, 250  # from here on a command stands in the table
ASLEEP_S = 300  # a busy machine may let a command wait, one that still waits then hangs
LOADED = (
    "charprobe.measuring.check",
    "charprobe.session.run",
    "charprobe.replica.predict",
    "charprobe.stimulus.write",
)
ENDED = {0: "measured", 1: "message", 2: "message"}


@dataclass(frozen=True)
class Outcome:
    """How a command ended, what it said first, and what it cost beyond the loaded program."""

    hostile: Hostile
    ended: str
    said: str
    cpu_s: float
    wall_s: float
    peak_mb: float

    @property
    def fails(self) -> bool:
        return self.ended not in ENDED.values()


def run(hostile: Hostile, folder: Path) -> Outcome:
    out, begin = folder / "said.txt", time.monotonic()
    before = [(folder / name).read_bytes() for name in hostile.kept]
    child = os.fork()
    if child == 0:
        _command(hostile, folder, out)
    try:
        _, status, used = os.wait4(child, 0)
    except KeyboardInterrupt:
        os.kill(child, signal.SIGKILL)
        raise
    wall_s, said = time.monotonic() - begin, out.read_text(encoding="utf-8", errors="replace")
    code = os.waitstatus_to_exitcode(status)
    ended = ENDED.get(code, f"exit {code}")
    if "Traceback" in said or (code >= 0 and not said.strip()):
        ended = "traceback" if "Traceback" in said else f"nothing said, exit {code}"
    if code in (-signal.SIGALRM, -signal.SIGXCPU, -signal.SIGKILL):
        ended = "hangs" if code == -signal.SIGALRM else f"longer than {MOST_S} s"
    if before != [(folder / name).read_bytes() for name in hostile.kept]:
        ended = "destroys an input"
    line = next(
        (line for line in said.splitlines() if line.startswith("Error")), said.strip().partition("\n")[0]
    )
    return Outcome(hostile, ended, line, used.ru_utime + used.ru_stime, wall_s, used.ru_maxrss / 1024)


def _command(hostile: Hostile, folder: Path, out: Path) -> None:
    """Run the command in this process, and end it."""
    os.chdir(folder)
    said = os.open(out, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    for number in (1, 2):
        os.dup2(said, number)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_S, MOST_S))
    signal.alarm(ASLEEP_S)
    sys.argv = ["charprobe", *hostile.command]
    code = 1
    try:
        charprobe()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else int(bool(end.code))
    except BaseException:
        traceback.print_exc()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)


def text(outcomes: Sequence[Outcome]) -> str:
    failed = [one for one in outcomes if one.fails]
    most = max(outcomes, key=lambda one: one.peak_mb), max(outcomes, key=lambda one: one.cpu_s)
    head = (
        f"{len(outcomes)} commands under a limit of 1 GB of address space and {MOST_S} s, forked from a process with the "
        f"program loaded: {sum(one.ended == 'message' for one in outcomes)} ended with a message, "
        f"{sum(one.ended == 'measured' for one in outcomes)} measured, {len(failed)} failed. Most memory "
        f"{most[0].peak_mb:.0f} MB ({most[0].hostile.what}), most CPU time {most[1].cpu_s:.1f} s ({most[1].hostile.what})."
    )
    head += f" Those that were measured, failed, or took more than {LONG_S:g} s or {MUCH_MB} MB:"
    lines = [head, "", "| what | command | ended | CPU | peak | said |", "|---|---|---|---|---|---|"]
    for one in outcomes:
        if one.ended == "message" and one.cpu_s <= LONG_S and one.peak_mb <= MUCH_MB:
            continue
        said = re.sub(r"[|\x00-\x1f`<>]", " ", one.said)[:110]
        lines.append(
            f"| {one.hostile.what} | {one.hostile.command[0]} | {one.ended} | {one.cpu_s:.1f} s | {one.peak_mb:.0f} MB | {said} |"
        )
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", help="part of what is wrong, to run that alone")
    parser.add_argument("--write", action="store_true", help="put the table into docs/accuracy/faults.md")
    options = parser.parse_args()
    for name in LOADED:
        importlib.import_module(name)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        take = a_take()
        every = [*make(folder, take), *lies(folder, take), *forms(folder, take)]
        outcomes = []
        for hostile in every:
            if options.only in hostile.what:
                outcomes.append(run(hostile, folder))
                one = outcomes[-1]
                print(
                    f"{one.ended:<12} {one.cpu_s:5.1f} s {one.peak_mb:5.0f} MB  {hostile.what}: {one.said[:120]}",
                    flush=True,
                )
    if options.write:
        command = "python -m tests.benchmarks.hostile_bench --write"
        write_section("faults", "Files that nobody vouches for", command, text(outcomes))


if __name__ == "__main__":
    main()
