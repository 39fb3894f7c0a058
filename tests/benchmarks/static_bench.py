"""Error and coverage of the static curve over randomised devices.

Run ``python -m tests.benchmarks.static_bench`` from the repository's top; ``--write`` puts the table into
``docs/accuracy/static.md``. The same command gives the same table on every machine.
"""

from __future__ import annotations

import argparse
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from charprobe.estimators.static.curve import FLOOR_DB, StaticCurve
from charprobe.estimators.static.curve_fit import fit_static_curve
from charprobe.estimators.static.level_steps import GUARD_S, LATE, measure_level_steps
from charprobe.estimators.static.readings import OVER, StaticReadings, read_static_curve
from charprobe.measuring.chapters.static.axis import BETWEEN_CAPTURES_DB, axis_of
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.recipe import load_recipe
from charprobe.values.quantity import Quantity
from tests.benchmarks.static_devices import Device, draw_compressor, draw_other_shape, record
from tests.benchmarks.written import write_section

RATE_HZ = 48_000
FIRST = 20_261
GOALS = {
    "settled point": 0.01,
    "threshold_1db": 0.05,
    "makeup_gain": 0.01,
    "slope": 0.003,
}
SCATTER_NOISE_DBFS = -50.0  # loud enough for the recorder's own errors not to count
UNITS = {"slope": "dB/dB"}


@dataclass(frozen=True)
class Outcome:
    """What one device gave: rows (quantity, error, inside its interval), reasons for none, shape verdict."""

    kind: str
    rows: tuple[tuple[str, float, bool], ...]
    unmeasured: tuple[tuple[str, str], ...]
    shape: str


def steps_of(recipe: str) -> LevelSteps:
    """Return the level steps of a shipped recipe that lie nearest to 1 kHz."""
    specs = [spec for spec in load_recipe(recipe).segments if isinstance(spec, LevelSteps)]
    return min(specs, key=lambda spec: abs(np.log(spec.frequency_hz / 1000)))


def measure(device: Device, spec: LevelSteps, rng) -> tuple[StaticCurve, StaticReadings]:
    """Measure a device the way the static chapter does, with a bypass capture of its own noise."""
    segment = spec.lay_out(start=200_000, rate_hz=RATE_HZ)
    wet = measure_level_steps(segment, record(segment, device, rate_hz=RATE_HZ, rng=rng))
    moved_db = rng.normal(0, BETWEEN_CAPTURES_DB)  # the recorder's gain from one capture to the next
    bypass = replace(device, bends=(), makeup_db=0.0, phase_rad=0.0, path_db=device.path_db + moved_db)
    dry = measure_level_steps(segment, record(segment, bypass, rate_hz=RATE_HZ, rng=rng))
    axis = axis_of(dry.steps, {step.tone.start: step.tone.start for step in dry.steps})
    curve = fit_static_curve([axis.point(step) for step in wet.steps], axis_std_db=axis.gain_std_db)
    return curve, read_static_curve(curve)


def try_compressor(job: tuple[int, str]) -> Outcome:
    number, recipe = job
    rng = np.random.default_rng(FIRST + number)
    device = draw_compressor(rng)
    curve, read = measure(device, steps_of(recipe), rng)
    (bend,) = device.bends
    shift, low = device.path_db, curve.low_level_gain
    truths = {
        "threshold": (read.threshold, bend.corner_dbfs + shift),
        "threshold_1db": (read.threshold_1db, _one_db(device) + shift),
        "slope": (read.slope, 1 - bend.slope),
        "ratio": (read.ratio, 1 / (1 - bend.slope) if bend.slope < 1 else np.inf),
        "knee_width": (read.knee_width, bend.knee_db),
        "hysteresis": (read.hysteresis, 0.0),
        "makeup_gain": (low, device.makeup_db),
        "max_reduction": (
            read.max_reduction,
            float(device.reduction_db(np.array(curve.highest_dbfs - shift))),
        ),
    }
    rows, missing = [], []
    for name, (reading, truth) in truths.items():
        if isinstance(reading, Quantity):
            widened = curve.axis_std_db * 1.96 if name == "makeup_gain" else 0.0
            inside = reading.low - widened <= truth <= reading.high + widened
            error = reading.value - truth if name != "ratio" else (reading.value / truth - 1) * 100
            rows.append((name, error, inside))
        else:
            right = (reading.at_least is None or truth >= reading.at_least - 0.01) and (
                reading.at_most is None or truth <= reading.at_most + 0.01
            )
            missing.append((name, reading.reason.split(",")[0] + ("" if right else " (BOUND WRONG)")))
    for point in curve.points:
        if point.settled:
            error = point.gain_db - device.makeup_db
            error += float(device.reduction_db(np.array(point.input_dbfs - shift)))
            reach = 1.96 * np.hypot(np.hypot(point.std_db, FLOOR_DB), curve.axis_std_db)
            rows.append(("settled point", error, abs(error) <= reach))
    return Outcome(device.kind, tuple(rows), tuple(missing), shape_of(curve, read))


def try_other(job: tuple[int, str]) -> Outcome:
    number, recipe = job
    rng = np.random.default_rng(FIRST + 100_000 + number)
    device = draw_other_shape(rng)
    curve, read = measure(device, steps_of(recipe), rng)
    return Outcome(device.kind, (), (), shape_of(curve, read))


def level_scatter(number: int) -> list[float]:
    """Errors of the fitted levels of a noisy wire over the Cramér–Rao bound for a tone of unknown amplitude."""
    rng = np.random.default_rng(FIRST + 200_000 + number)
    device = Device("wire", noise_dbfs=SCATTER_NOISE_DBFS, drift_ppm=rng.uniform(-100, 100))
    segment = steps_of("standard").lay_out(start=200_000, rate_hz=RATE_HZ)
    fit = measure_level_steps(segment, record(segment, device, rate_hz=RATE_HZ, rng=rng))
    scores = []
    for step in fit.steps:
        error_db = 20 * np.log10(abs(step.fit.amplitudes[0])) - step.tone.level_dbfs
        noise = 10 ** ((SCATTER_NOISE_DBFS - step.tone.level_dbfs) / 20) / np.sqrt(2)  # rms re amplitude
        samples = (step.tone.length * (1 - LATE) - GUARD_S * RATE_HZ) * (1 + 1e-6 * device.drift_ppm)
        bound_db = 20 / np.log(10) * noise * np.sqrt(2 / samples)
        if step.tone.level_dbfs >= SCATTER_NOISE_DBFS + 20:  # where the error in dB is still straight
            scores.append(float(error_db / bound_db))
    return scores


def shape_of(curve: StaticCurve, read: StaticReadings) -> str:
    """Name the shape that the readings stand for."""
    if curve.choice is None:
        return "too few steps settled"
    if curve.fit is None:
        return "no model"
    words = []
    if isinstance(read.saturation, Quantity):
        words.append("saturated")
    if read.lower is not None:
        words.append("expander" if read.lower.slope.value > 1 else "upward")
    if read.compressed is not None and curve.flat_section is None:
        words.append("always" if curve.reaches_down else "compressing wherever a step had settled")
    elif read.compressed is not None:
        over = isinstance(read.slope, Quantity) and read.slope.high < -OVER
        words.append("two bends" if read.second else "over" if over else "compressor")
    return " and ".join(words) or "flat"


def _one_db(device: Device) -> float:
    grid = np.linspace(-80, 40, 1_200_001)
    return float(np.interp(1.0, device.reduction_db(grid), grid))


def table_of(outcomes: list[Outcome]) -> str:
    rows = [row for outcome in outcomes for row in outcome.rows]
    missing = Counter(name for outcome in outcomes for name, _ in outcome.unmeasured)
    lines = [
        "| quantity | measured | median error | 95 % of errors within | largest | goal | intervals that hold |",
        "|---|---|---|---|---|---|---|",
    ]
    for name in dict.fromkeys(row[0] for row in rows):
        errors = np.abs([error for key, error, _ in rows if key == name])
        held = np.mean([inside for key, _, inside in rows if key == name])
        unit = UNITS.get(name, "%" if name == "ratio" else "dB")
        given = f"{errors.size}" + (f" of {errors.size + missing[name]}" if missing[name] else "")
        goal = f"±{GOALS[name]:g}" if name in GOALS else "–"
        cells = [f"{value:.2g}" for value in (np.median(errors), np.quantile(errors, 0.95), errors.max())]
        lines.append(f"| {name} ({unit}) | {given} | {' | '.join(cells)} | {goal} | {100 * held:.1f} % |")
    return "\n".join(lines)


def report(compressors: list[Outcome], others: list[Outcome], scatter: list[float], recipe: str) -> str:
    wrong = Counter(o.shape for o in compressors if o.shape != "compressor")
    named = Counter((o.kind, o.shape) for o in others)
    reasons = Counter(item for outcome in compressors for item in outcome.unmeasured)
    parts = [
        f"{len(compressors)} compressors and limiters, level steps of the recipe `{recipe}`. Threshold −45 to −6 dBFS, "
        "ratio 1.2 to infinity, knee 0 to 20 dB, make-up −6 to +18 dB, attack 0.1 to 50 ms, release 30 ms to 3 s, "
        "noise −120 to −80 dBFS, clocks up to 100 ppm apart, a bypass capture for each, whose gain has moved by 0.0003 dB rms. "
        "Threshold errors include those of the input axis.",
        table_of(compressors),
        "Where a number was withheld:",
        "\n".join(f"- {name}: {reason} ({count})" for (name, reason), count in reasons.most_common()),
        "Shape found for these compressors, other than a compressor: "
        + (", ".join(f"{shape} ({count})" for shape, count in wrong.items()) or "none")
        + ". Where the release is so slow that no step below the knee settled, no more can be told; any "
        "other name here is a wrong verdict.",
        f"Fitted levels of {len(scatter)} steps at {SCATTER_NOISE_DBFS:g} dBFS of noise scatter by "
        f"{np.sqrt(np.mean(np.square(scatter))):.3f} of the Cramér–Rao bound (goal 1.1; known to "
        f"±{2 / np.sqrt(2 * len(scatter)):.3f}).",
        f"Shape found for {len(others)} devices of other shapes:",
        "| device | found |\n|---|---|\n"
        + "\n".join(f"| {kind} | {shape} ({count}) |" for (kind, shape), count in sorted(named.items())),
    ]
    return "\n\n".join(parts)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--devices", type=int, default=500)
    parser.add_argument("--others", type=int, default=100)
    parser.add_argument("--wires", type=int, default=60)
    parser.add_argument("--recipe", default="standard")
    parser.add_argument("--write", action="store_true", help="put the table into docs/accuracy/static.md")
    options = parser.parse_args()
    with ProcessPoolExecutor(max_workers=2) as pool:
        compressors = list(
            pool.map(try_compressor, [(i, options.recipe) for i in range(options.devices)], chunksize=5)
        )
        others = list(pool.map(try_other, [(i, options.recipe) for i in range(options.others)], chunksize=5))
        scatter = [score for scores in pool.map(level_scatter, range(options.wires)) for score in scores]
    text = report(compressors, others, scatter, options.recipe)
    print(text)
    if options.write:
        write_section("static", "Static curve", "python -m tests.benchmarks.static_bench --write", text)


if __name__ == "__main__":
    main()
