"""A session on a cluster of this machine: one worker, two, and two of which one is killed at its first profile.

Run ``python -m tests.benchmarks.cluster_bench``; ``--settings N`` for more captures (two of each setting). Workers are
processes of one thread without anything that starts them again. Profiles of all runs have to be the same to the byte.
"""

from __future__ import annotations

import argparse
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.cost_bench import AS_A_USER, STAGES, rack

Process = subprocess.Popen[bytes]


@dataclass(frozen=True)
class Done:
    """Seconds on the clock, the profiles by name, and whether a worker died on the way."""

    wall_s: float
    profiles: dict[str, bytes]
    killed: bool


@contextmanager
def cluster(workers: int, folder: Path) -> Iterator[tuple[str, list[Process]]]:
    """A scheduler and so many workers; its address, and the workers' processes."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": AS_A_USER, "cwd": folder}
    own = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--port", address.rsplit(":", 1)[1]]
    one = [sys.executable, "-m", "distributed.cli.dask_worker", address, "--no-nanny", "--nthreads", "1"]
    scheduler = subprocess.Popen([*own, "--host", "127.0.0.1", "--no-dashboard"], **quiet)
    started = [subprocess.Popen([*one, "--no-dashboard"], **quiet) for _ in range(workers)]
    try:
        yield address, started
    finally:
        for process in (*started, scheduler):
            process.terminate()
            process.wait()


def measured(session: Path, out: Path, *, workers: int, kill: bool) -> Done:
    """Run the session as a user does; kill a worker with no warning as soon as a profile is there."""
    out.mkdir()
    with cluster(workers, out.parent) as (address, started):
        run = [
            sys.executable,
            "-m",
            "charprobe",
            "session",
            session,
            "--out",
            out / "made",
            "--cluster",
            address,
        ]
        began, killed = time.perf_counter(), False
        process = subprocess.Popen(run, env=AS_A_USER, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        while process.poll() is None:
            time.sleep(0.05)
            if kill and not killed and any((out / "made" / "profiles").glob("*.json")):
                started[0].send_signal(signal.SIGKILL)
                killed = True
        wall_s = time.perf_counter() - began
    assert process.returncode == 0, process.returncode
    profiles = {path.name: path.read_bytes() for path in (out / "made" / "profiles").glob("*.json")}
    return Done(wall_s, profiles, killed)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--settings", type=int, default=len(STAGES), choices=range(1, len(STAGES) + 1))
    options = parser.parse_args()
    print(
        "| workers | time on the clock, page included | profiles | equal to those of one worker |", flush=True
    )
    print("|---|---|---|---|", flush=True)
    with tempfile.TemporaryDirectory() as place:
        session = rack(Path(place), settings=options.settings, takes=2, channels=1)
        alone = None
        for workers, kill in ((1, False), (2, False), (2, True)):
            done = measured(session, Path(place, f"{workers}{kill}"), workers=workers, kill=kill)
            alone = alone or done
            assert done.killed == kill, "the session was done before a worker could die"
            equal = sum(done.profiles.get(name) == data for name, data in alone.profiles.items())
            what = f"{workers}, one killed at the first profile" if kill else str(workers)
            counts = f"{len(done.profiles)} of {2 * options.settings} | {equal} of {len(alone.profiles)}"
            print(f"| {what} | {done.wall_s:.0f} s | {counts} |", flush=True)


if __name__ == "__main__":
    main()
