"""The smallest second path, gain step, drift and coding with loss that are told.

Run ``python -m tests.benchmarks.least_told`` from the repository's top; ``--write`` puts the table into
``docs/accuracy/faults.md``. A size counts from which on every larger one tried is told as well, in every case of its row.
"""

from __future__ import annotations

import argparse
import subprocess
from collections.abc import Callable, Sequence
from functools import partial

from charprobe.measuring.health.judge import judge_capture, judge_pair
from charprobe.measuring.health.path.second_path import check_second_path
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.simulation.rig import faults
from tests.benchmarks.fault_captures import (
    BYPASS,
    RATE_HZ,
    Array,
    capture,
    coded,
    recorded,
    stimulus_of,
)
from tests.benchmarks.written import write_section

STAGE, RECIPE = "smooth-gain-hard", "quick"
PATHS_DB = (-70.0, -65.0, -60.0, -58.0, -56.0, -54.0, -50.0, -40.0, -30.0, -20.0, -10.0)
DELAYS_MS = (0.6, 1.3, 4.1, 17.0, 55.0)
MOVED = {"gain-step", "level-drift"}
STEPS_DB = (0.01, 0.02, 0.03, 0.05, 0.1, 0.2, 0.5, 1.0)
RATES = {  # coder, container -> kbit/s, the best first
    ("libmp3lame", "mp3"): (320, 256, 192, 128),
    ("aac", "m4a"): (512, 384, 256, 128),
    ("libopus", "ogg"): (450, 256, 128),
    ("libvorbis", "ogg"): (450, 320, 192, 128),
    ("ac3", "ac3"): (640, 448, 256),
    ("mp2", "mp2"): (384, 320, 256, 192),
    ("sbc", "sbc"): (328, 229),
}


def clean(device: str) -> Array:
    return recorded(device, RECIPE, 3 if device == BYPASS else 2)


def path_told(size_db: float, *, side: int, device: str) -> bool:
    """Whether a copy is told at every one of `DELAYS_MS`, ahead (-1) or behind."""
    return all(
        check_second_path(place_take(Track(capture(samples, device), 0, stimulus_of(RECIPE))), coded=False)
        for ms in DELAYS_MS
        for samples in [
            faults.second_path(clean(device), delay=side * round(ms * RATE_HZ / 1e3), gain_db=size_db)
        ]
    )


def step_told(size_db: float, *, share: float) -> bool:
    return told(lambda x: faults.step_gain(x, at=int(share * len(x)), gain_db=size_db), MOVED)


def drift_told(size_db: float) -> bool:
    return told(lambda x: faults.drift_gain(x, total_db=size_db), MOVED | {"automatic-gain"})


def coder_told(kbit: int, *, coder: str, ending: str) -> bool:
    return told(lambda x: coded(x, coder, kbit, ending), {"lossy-coded"})


def told(change: Callable[[Array], Array], codes: set[str]) -> bool:
    """Whether a pair of captures, both changed, is told by one of some codes, and not in a note."""
    pair = [
        judge_capture(capture(change(clean(name)), name), stimulus_of(RECIPE), 0) for name in (STAGE, BYPASS)
    ]
    found = judge_pair(*pair)
    return any(item.code in codes and item.severity != "note" for item in found)


def least(sizes: Sequence[float], is_told: Callable[[float], bool]) -> str:
    """The size, counted from the largest, down to which all are told; sizes run from small to large."""
    last = ""
    for size in reversed(sizes):
        if not is_told(size):
            break
        last = f"{size:g}"
    return last or "none"


def rows() -> list[str]:
    found = []
    for device in (STAGE, BYPASS):
        for side, word in ((-1, "ahead"), (1, "behind")):
            size = least(PATHS_DB, partial(path_told, side=side, device=device))
            found.append(f"| second path {word}, 0.6 to 55 ms, {device} | {size} dB | {PATHS_DB[0]:g} dB |")
    for share in (0.3, 0.62, 0.9):
        size = least(STEPS_DB, partial(step_told, share=share))
        found.append(f"| gain step at {share:.0%} of both takes | {size} dB | {STEPS_DB[0]:g} dB |")
    size = least(STEPS_DB, drift_told)
    found.append(f"| even drift from first to last sample of both takes | {size} dB | {STEPS_DB[0]:g} dB |")
    for (coder, ending), rates in RATES.items():
        try:
            seen = [rate for rate in rates if coder_told(rate, coder=coder, ending=ending)]
        except subprocess.CalledProcessError:  # a coder that this machine lacks
            found.append(f"| coded by {coder} | not tried | – |")
            continue
        missed = ", ".join(str(rate) for rate in rates if rate not in seen)
        text = (f"{max(seen)} kbit/s" if seen else "none") + (f", not {missed}" if missed else "")
        found.append(f"| coded by {coder}, stereo | {text} | {rates[0]} kbit/s |")
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="put the table into docs/accuracy/faults.md")
    options = parser.parse_args()
    text = "\n".join(
        [
            f"Recipe {RECIPE}, {STAGE} and its bypass, noise -110 dBFS. Of coders the highest rate told counts.",
            "",
            "| what | told down to | smallest tried |",
            "|---|---|---|",
            *rows(),
        ]
    )
    print(text)
    if options.write:
        write_section(
            "faults", "The least that is told", "python -m tests.benchmarks.least_told --write", text
        )


if __name__ == "__main__":
    main()
