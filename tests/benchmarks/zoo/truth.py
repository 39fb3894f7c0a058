"""What is true of a stage under a stimulus, from steady tones and bursts through the stage itself."""

from __future__ import annotations

import hashlib
import pickle
import tempfile
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from charprobe.stimulus.kinds.bursts import BurstLengths, Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Tones
from charprobe.stimulus.timetable import Stimulus
from tests.benchmarks.zoo.bursts import Burst, BurstTruth, burst_truth
from tests.benchmarks.zoo.stage import Array, Stage
from tests.benchmarks.zoo.tones import Settled, settled

GRID_DB, COARSE_DB, FINE_DBFS, LOWEST_DBFS = 1.0, 3.0, -44.0, -62.0
RESPONSE_HZ = (20, 40, 80, 160, 400, 997, 3000, 8000, 14_000, 20_000)
RESPONSE_DBFS = -40.0
ROUNDS, PARTS = 4, 8
FLAT = 0.003  # dB per dB below which a curve counts as level


@dataclass(frozen=True)
class Truth:
    """Settled tones by (frequency, level), bursts by condition, and what they stand for.

    `curve` is the settled gain over levels, `GRID_DB` apart where compressors work, at the frequency of the level steps.
    """

    name: str
    rate_hz: int
    late_s: float
    unsteady_db: float
    trace_is_gain: bool
    steps_hz: float
    curve_dbfs: tuple[float, ...]
    curve: tuple[Settled, ...]
    tones: dict[tuple[float, float], Settled]
    bursts: dict[tuple[float, float, float, float], BurstTruth]
    reference: tuple[float, float, float, float] | None
    response_db: dict[float, float]
    one_db_dbfs: float | None

    @property
    def gain_db(self) -> Array:
        """Settled gain of the curve."""
        return np.array([point.gain_db for point in self.curve])

    @property
    def plateau(self) -> tuple[float, float] | None:
        """Range of the gain where it does not change with level below where it falls; None if nowhere."""
        return plateau_of(np.array(self.curve_dbfs), self.gain_db)

    def to_dict(self) -> dict[str, Any]:
        """Plain tables for a file."""
        return {
            "stage": self.name,
            "rate_hz": self.rate_hz,
            "latency_s": self.late_s,
            "gain_moves_by_itself_db": self.unsteady_db,
            "low_level_gain_db": self.plateau,
            "threshold_1db_dbfs": self.one_db_dbfs,
            "static": [
                {
                    "input_dbfs": level,
                    "frequency_hz": self.steps_hz,
                    "gain_db": point.gain_db,
                    "thd_dbc": point.thd_dbc,
                }
                for level, point in zip(self.curve_dbfs, self.curve, strict=True)
            ],
            "tones": [
                {"frequency_hz": f, "input_dbfs": level, "thd_dbc": point.thd_dbc} | asdict(point)
                for (f, level), point in self.tones.items()
            ],
            "bursts": [
                dict(zip(("from_dbfs", "to_dbfs", "carrier_hz", "hold_s"), key, strict=True))
                | {"reference": key == self.reference}
                | asdict(edge)
                for key, edge in self.bursts.items()
            ],
            "response": [{"frequency_hz": f, "gain_db": gain} for f, gain in self.response_db.items()],
        }


def plateau_of(levels: Array, gain: Array) -> tuple[float, float] | None:
    """Range of gain on the longest flat run of at least 4 levels."""
    flat = np.abs(np.diff(gain) / np.diff(levels)) < FLAT
    best, start = (0, 0), None
    for i, level in enumerate([*flat, False]):
        if level and start is None:
            start = i
        if not level and start is not None:
            best, start = max(best, (i - start, start)), None
    count, first = best
    if count < 4:
        return None
    run = gain[first : first + count + 1]
    return float(run.min()), float(run.max())


def truth_of(stage: Stage, stimulus: Stimulus) -> Truth:
    """Find out, or read back what was found by the same code before."""
    told = f"{_code()}|{stage.name}|{parameters(stage.process)}|{stimulus.recipe.hash}|{stimulus.rate_hz}"
    kept = Path(
        tempfile.gettempdir(), "charprobe-zoo", hashlib.sha256(told.encode()).hexdigest()[:24] + ".pickle"
    )
    if kept.exists():
        found: Truth = pickle.loads(kept.read_bytes())
        return found
    found = find_truth(stage, stimulus)
    kept.parent.mkdir(exist_ok=True)
    part = kept.with_suffix(f".{id(found)}")
    part.write_bytes(pickle.dumps(found))
    part.replace(kept)
    return found


def _code() -> str:
    names = (
        "stage",
        "loops",
        "curves",
        "filters",
        "compressors",
        "saturators",
        "foreign",
        "tones",
        "bursts",
        "truth",
    )
    return "".join((Path(__file__).parent / f"{name}.py").read_text() for name in names)


def parameters(part: Any) -> str:
    """All numbers a stage was made with."""
    if isinstance(part, partial):
        return f"{part.keywords}"
    if not callable(part):
        return repr(part)
    return "|".join(parameters(cell.cell_contents) for cell in getattr(part, "__closure__", None) or ())


def find_truth(stage: Stage, stimulus: Stimulus) -> Truth:
    """Play steady tones and bursts of the stimulus's conditions through the stage."""
    rate_hz = stimulus.rate_hz

    steps = stimulus.of_kind(LevelSteps)
    steps_hz = steps[0].spec.frequency_hz if steps else 997.0
    top = max((step.spec.to_dbfs for step in steps), default=-2.0)
    fine = np.arange(top, FINE_DBFS, -GRID_DB)
    levels = np.concatenate([fine, np.arange(fine[-1] - COARSE_DB, LOWEST_DBFS, -COARSE_DB)])[::-1]
    asked = [
        (f, level)
        for s in stimulus.of_kind(Tones)
        for f in s.spec.frequencies_hz
        for level in s.spec.levels_dbfs
    ]
    plan = (
        [(steps_hz, float(level)) for level in levels]
        + asked
        + [(float(f), RESPONSE_DBFS) for f in RESPONSE_HZ]
    )
    found = settled(stage, plan, rate_hz)
    curve = tuple(found[: levels.size])
    gain = np.array([point.gain_db for point in curve])
    flat = plateau_of(levels, gain)
    cases = [case for segment in stimulus.segments for case in _bursts(segment.spec)]
    reference = next(
        (key_of(case) for s in stimulus.of_kind(Bursts) if s.spec.reference for case in _bursts(s.spec)), None
    )
    return Truth(
        stage.name,
        rate_hz,
        stage.late_s,
        stage.unsteady_db,
        stage.trace_is_gain,
        steps_hz,
        tuple(levels.tolist()),
        curve,
        dict(zip(asked, found[levels.size :], strict=False)),
        {key_of(case): burst_truth(stage, case, rate_hz) for case in cases},
        reference,
        {float(f): point.gain_db for f, point in zip(RESPONSE_HZ, found[-len(RESPONSE_HZ) :], strict=True)},
        None if flat is None else _one_db_down(stage, (steps_hz, rate_hz), levels, gain, flat),
    )


def key_of(case: Burst) -> tuple[float, float, float, float]:
    """What tells a row of the timing table from another."""
    return case.low_dbfs, case.high_dbfs, case.carrier_hz, case.hold_s


def _bursts(spec: object) -> list[Burst]:
    if isinstance(spec, Bursts):
        holds = (spec.hold_s,)
    elif isinstance(spec, BurstLengths):
        holds = spec.holds_s
    else:
        return []
    return [
        Burst(spec.low_dbfs, spec.high_dbfs, spec.carrier_hz, spec.lead_s, hold, spec.release_s)
        for hold in holds
    ]


def _one_db_down(
    stage: Stage, at: tuple[float, int], levels: Array, gain: Array, flat: tuple[float, float]
) -> float | None:
    """Level at which the gain has fallen 1 dB below the plateau: ever closer levels through the stage itself."""
    line = (flat[0] + flat[1]) / 2 - 1
    on = np.flatnonzero(np.abs(gain - line - 1) < 0.01 + flat[1] - flat[0])
    under = np.flatnonzero((gain < line) & (np.arange(gain.size) > on[0])) if on.size else on
    if not under.size:
        return None
    low, high = float(levels[under[0] - 1]), float(levels[under[0]])
    for _ in range(ROUNDS):
        inner = np.linspace(low, high, PARTS + 1)[1:-1]
        lost = [found.gain_db < line for found in settled(stage, [(at[0], float(x)) for x in inner], at[1])]
        first = lost.index(True) if True in lost else len(lost)
        edges = [low, *inner.tolist(), high]
        low, high = edges[first], edges[first + 1]
    return (low + high) / 2
