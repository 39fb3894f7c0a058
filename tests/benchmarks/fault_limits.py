"""How small a dropout, click or gain step is still found, by recipe and level of the tone it falls into.

Run ``python -m tests.benchmarks.fault_limits`` from the repository's top; ``--write`` puts the table into
``docs/accuracy/faults.md``. One fault is put into every steady tone at a random place, and counts as found if it is
told within 5 ms of that place.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.health.timeline.continuity import check_continuity, find_events
from charprobe.measuring.health.timeline.markers import check_marker_levels
from charprobe.measuring.health.timeline.steady_gain import check_steady_gain
from charprobe.placing.take import Take, place_take
from charprobe.placing.track import Track
from charprobe.simulation.rig.faults import step_gain
from charprobe.stimulus.kinds.segment import Tone
from tests.benchmarks.fault_bench import DEVICES, RECIPES
from tests.benchmarks.fault_captures import BYPASS, RATE_HZ, Array, recorded, stimulus_of
from tests.benchmarks.written import write_section

LEAST_TONE_S, MARGIN_S, NEAR_S = 0.06, 0.02, 0.005
NEEDED = 0.95  # of the tones of a class
CLASSES = {"above −20 dBFS": (-20, 1), "−40 to −20 dBFS": (-40, -20), "below −40 dBFS": (-200, -40)}
COUNTS = (1, 2, 3, 5, 9, 17, 48)
STEPS_DB, PLACES = (0.05, 0.1, 0.15, 0.2, 0.3, 0.5, 1.0), 20
HEIGHTS_DBFS = (-110, -100, -90, -80, -70, -60, -50, -40, -30, -20)


def _zeros(samples: Array, at: int, size: float) -> None:
    samples[at : at + int(size)] = 0.0


def _held(samples: Array, at: int, size: float) -> None:
    samples[at : at + int(size)] = samples[at - 1]


def _click(samples: Array, at: int, size: float) -> None:
    samples[at] += 10 ** (size / 20)


@dataclass(frozen=True)
class Kind:
    """A small fault: its name, its sizes from small to large, their unit, and how it is put in."""

    name: str
    unit: str
    sizes: tuple[float, ...]
    put: Callable[[Array, int, float], None]


KINDS = (
    Kind("samples replaced by zeros", "samples", COUNTS, _zeros),
    Kind("samples that hold the last value", "samples", COUNTS, _held),
    Kind("one sample off by", "dBFS", HEIGHTS_DBFS, _click),
)


def tones_of(take: Take) -> list[Tone]:
    """Steady tones long enough to put a fault into, each once, in playing order."""
    found = {
        t.start: t for s in take.stimulus.segments for t in s.tones if t.length >= LEAST_TONE_S * RATE_HZ
    }
    return [found[start] for start in sorted(found)]


def share_found(take: Take, samples: Array, kind: Kind, size: float, seed: int) -> dict[str, tuple[int, int]]:
    """Class -> how many of its tones' faults are told, and how many there are."""
    rng = np.random.default_rng(seed)
    spoiled = samples.copy()
    places = []
    for tone in tones_of(take):
        low = take.alignment.capture_index(tone.start + tone.ramp + MARGIN_S * RATE_HZ)
        high = take.alignment.capture_index(tone.stop - MARGIN_S * RATE_HZ)
        if high - low < 2:
            continue
        at = int(rng.uniform(low, high))
        kind.put(spoiled[:, 0], at, size)
        places.append((tone, at))
    source = MemoryCapture(spoiled, rate_hz=RATE_HZ, name="spoiled.wav")
    events = np.array([event.start for event in find_events(replace(take, source=source))])
    counts = {}
    for name, (low_dbfs, high_dbfs) in CLASSES.items():
        inside = [at for tone, at in places if low_dbfs <= tone.level_dbfs < high_dbfs]
        told = sum(bool(np.any(np.abs(events - at) < NEAR_S * RATE_HZ)) for at in inside)
        counts[name] = (told, len(inside))
    return counts


def limit_text(unit: str, rates: list[tuple[float, float]]) -> str:
    """Smallest size from which on enough are found, "3 samples", and where larger ones are missed."""
    found = [size for size, rate in rates if rate >= NEEDED]
    if not found:
        size, rate = max(rates, key=lambda each: each[1])
        return f"none; {rate:.0%} at {size:g} {unit}"
    missed = [f"{rate:.0%} at {size:g}" for size, rate in rates if size > found[0] and rate < NEEDED]
    return f"{found[0]:g} {unit}" + (f" (but {', '.join(missed)})" if missed else "")


def steps_found(recipe: str) -> list[tuple[float, float]]:
    """Share of gain steps anywhere in a bypass that are told, for each size in dB."""
    clean = recorded(BYPASS, recipe, 6)
    place = place_take(Track(MemoryCapture(clean, rate_hz=RATE_HZ, name="clean.wav"), 0, stimulus_of(recipe)))
    first = place.alignment.capture_index(float(place.stimulus.opening.stop))
    last = place.alignment.capture_index(float(place.stimulus.closing.start))
    rng = np.random.default_rng(9)
    rates = []
    for size in STEPS_DB:
        told = 0
        for at in rng.uniform(first, last, PLACES):
            samples = step_gain(clean, at=int(at), gain_db=size * rng.choice([-1, 1]))
            take = replace(place, source=MemoryCapture(samples, rate_hz=RATE_HZ, name="stepped.wav"))
            found = [*check_continuity(take), *check_steady_gain(take), *check_marker_levels(take, off=True)]
            told += any(item.code in ("gain-step", "level-drift") for item in found)
        rates.append((size, told / PLACES))
    return rates


def table(recipe: str) -> list[str]:
    takes = []
    for device in DEVICES:
        samples = recorded(device, recipe, 6)
        source = MemoryCapture(samples, rate_hz=RATE_HZ, name=f"{device}.wav")
        takes.append((place_take(Track(source, 0, stimulus_of(recipe))), samples))
    lines = []
    for kind in KINDS:
        rates: dict[str, list[tuple[float, float]]] = {name: [] for name in CLASSES}
        counted = dict.fromkeys(CLASSES, 0)
        for number, size in enumerate(kind.sizes):
            counts = [share_found(take, samples, kind, size, number) for take, samples in takes]
            for name in CLASSES:
                told, counted[name] = (sum(count[name][i] for count in counts) for i in (0, 1))
                rates[name].append((size, told / max(1, counted[name])))
        cells = [f"{limit_text(kind.unit, rates[name])}, {counted[name]} tones" for name in CLASSES]
        lines.append(f"| {recipe} | {kind.name} | {' | '.join(cells)} |")
    steps = limit_text("dB", steps_found(recipe))
    lines.append(f"| {recipe} | gain step of a bypass | {steps}, at {PLACES} places of any kind | | |")
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="put the table into docs/accuracy/faults.md")
    options = parser.parse_args()
    rows = [line for recipe in RECIPES for line in table(recipe)]
    text = "\n".join(
        [
            f"Smallest size from which on at least {NEEDED:.0%} are found and placed to {1e3 * NEAR_S:g} ms, "
            "over the devices "
            f"{', '.join(DEVICES)}, by the level of the tone it falls into; noise -110 dBFS. A step counts anywhere between the markers.",
            "",
            f"| recipe | fault | {' | '.join(CLASSES)} |",
            f"|{'---|' * (2 + len(CLASSES))}",
            *rows,
        ]
    )
    print(text)
    if options.write:
        write_section(
            "faults", "Smallest faults found", "python -m tests.benchmarks.fault_limits --write", text
        )


if __name__ == "__main__":
    main()
