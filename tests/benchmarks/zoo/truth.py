"""What is true of a stage under a stimulus, from steady tones and bursts through the stage itself."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.steady import Tones
from charprobe.stimulus.render import render
from charprobe.stimulus.timetable import Stimulus
from tests.benchmarks.zoo.answers import Answers
from tests.benchmarks.zoo.bursts import Burst, BurstTruth
from tests.benchmarks.zoo.declared import Declared, Kind
from tests.benchmarks.zoo.played_bursts import played_sets
from tests.benchmarks.zoo.stage import Array, Stage
from tests.benchmarks.zoo.tones import Settled
from tests.benchmarks.zoo.trace_constants import Constants

GRID_DB, COARSE_DB, FINE_DBFS, LOWEST_DBFS = 1.0, 3.0, -44.0, -62.0
RESPONSE_HZ = (
    20,
    40,
    80,
    160,
    400,
    997,
    2999,
    7993,
    13_997,
    19_997,
)  # at fs/6 a detector of crests meets six
RESPONSE_DBFS = -40.0
TILT_HZ = tuple(np.geomspace(100.0, 10_000.0, 49).round().tolist())
FLOOR_BELOW_DB = 1.0  # a gain that rises by more above its longest flat run rests elsewhere
FLAT = 0.003  # dB per dB below which a curve counts as level


@dataclass(frozen=True)
class Truth:
    """Settled tones by (frequency, level), bursts by condition, and what they stand for.

    `curve` is the settled gain at every level step and over levels `GRID_DB` apart where compressors work, at the
    frequency of the level steps.
    """

    name: str
    rate_hz: int
    late_s: float
    unsteady_db: float
    hiss_dbfs: float
    trace_is_gain: bool
    steps_hz: float
    curve_dbfs: tuple[float, ...]
    curve: tuple[Settled, ...]
    tones: dict[tuple[float, float], Settled]
    bursts: dict[tuple[float, float, float, float], tuple[BurstTruth, ...]]
    reference: tuple[float, float, float, float] | None
    response_db: dict[float, float]
    one_db_dbfs: float | None
    wide_db: dict[float, float]
    declared: dict[str, float]
    kind: Kind | None
    constants: Constants

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
                | asdict(edges[0])
                for key, edges in self.bursts.items()
            ],
            "constants": self.constants,
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
    if (
        gain[first + count :].max() > gain[first] + FLOOR_BELOW_DB
    ):  # a gate's floor: it rests where it is open
        return plateau_of(levels[first + count :], gain[first + count :])
    run = gain[first : first + count + 1]
    return float(run.min()), float(run.max())


def truth_of(stage: Stage, stimulus: Stimulus) -> Truth:
    """Ask the stage for the steady tones and bursts of a stimulus."""
    answers = Answers(stage, stimulus.rate_hz)
    steps = stimulus.of_kind(LevelSteps)
    steps_hz = steps[0].spec.frequency_hz if steps else 997.0
    top = max((step.spec.to_dbfs for step in steps), default=-2.0)
    fine = np.arange(top, FINE_DBFS, -GRID_DB)
    coarse = np.arange(fine[-1] - COARSE_DB, LOWEST_DBFS, -COARSE_DB)
    stepped = {tone.level_dbfs for step in steps for tone in step.tones}
    levels = sorted({*fine.tolist(), *coarse.tolist(), *stepped})
    played = [
        (frequency_hz, level)
        for segment in stimulus.of_kind(Tones)
        for frequency_hz in segment.spec.frequencies_hz
        for level in segment.spec.levels_dbfs
    ]
    curve = answers.tones([(steps_hz, level) for level in levels])
    tones = answers.tones(played)
    response = answers.tones([(float(frequency_hz), RESPONSE_DBFS) for frequency_hz in RESPONSE_HZ])
    tilted = answers.tones([(hz, RESPONSE_DBFS) for hz in TILT_HZ])
    corners = {
        f"response.{end}_corner": _corner_hz(answers, top) for end, top in (("low", 20.0), ("high", 20e3))
    }
    sound = render(stimulus)
    reference = [
        (s.spec.low_dbfs, s.spec.high_dbfs, s.spec.carrier_hz, s.spec.hold_s)
        for s in stimulus.of_kind(Bursts)
        if s.spec.reference
    ]
    flat = plateau_of(np.array(levels), np.array([point.gain_db for point in curve]))
    truth = Truth(
        stage.name,
        stimulus.rate_hz,
        round(stage.late_s * stimulus.rate_hz) / stimulus.rate_hz,
        stage.unsteady_db,
        answers.hiss_dbfs(),
        stage.trace_is_gain,
        steps_hz,
        tuple(levels),
        tuple(curve),
        dict(zip(played, tones, strict=True)),
        {key_of(one.burst): answers.bursts(one, sound) for one in played_sets(stimulus)},
        reference[0] if reference else None,
        {float(f): point.gain_db for f, point in zip(RESPONSE_HZ, response, strict=True)},
        None if flat is None else answers.one_db_down(steps_hz, levels, curve, flat),
        {hz: point.gain_db for hz, point in zip(TILT_HZ, tilted, strict=True)},
        {name: hz for name, hz in corners.items() if hz is not None}
        | (dict(stage.true) if isinstance(stage, Declared) else {}),
        stage.kind if isinstance(stage, Declared) else None,
        next(
            (
                answers.constants(one, sound)
                for one in played_sets(stimulus)
                if key_of(one.burst) in reference
            ),
            {},
        ),
    )
    answers.keep()
    return truth


def _corner_hz(answers: Answers, end_hz: float) -> float | None:
    """Where settled tones are first 3 dB under that of 1 kHz on the way to an end of the band; None if nowhere."""
    line = answers.tones([(1000.0, RESPONSE_DBFS)])[0].gain_db - 10 * np.log10(2)
    if answers.tones([(end_hz, RESPONSE_DBFS)])[0].gain_db > line:
        return None
    near, far, gains = 1000.0, end_hz, (line, line)
    for _ in range(2):
        way = list(dict.fromkeys(np.geomspace(near, far, 13).round().tolist()))
        found = [point.gain_db for point in answers.tones([(hz, RESPONSE_DBFS) for hz in way])]
        first = next(i for i, gain in enumerate(found) if gain <= line)
        near, far, gains = way[first - 1], way[first], (found[first - 1], found[first])
    return float(near * (far / near) ** ((gains[0] - line) / (gains[0] - gains[1])))


def key_of(case: Burst) -> tuple[float, float, float, float]:
    """What tells a row of the timing table from another."""
    return case.low_dbfs, case.high_dbfs, case.carrier_hz, case.hold_s
