"""Self-test: the reference stages recovered through a rig, truth beside estimate."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import repeat

import numpy as np

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.characterise import characterise
from charprobe.profile import glossary
from charprobe.profile.glossary.row import Goal
from charprobe.profile.profile import Profile
from charprobe.publishing.report.truth_row import WORST_POINT, TruthRow
from charprobe.session.side_by_side import workers
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.devices.stage import Stage, TrueValue
from charprobe.simulation.rig.rig import Rig
from charprobe.simulation.simulate import record_stage, record_with_gain
from charprobe.simulation.stimulus_truth import true_conditions
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.arrays import Array
from charprobe.values.quantity import Quantity, Unmeasured

# float, so that a stage with make-up gain does not clip the converter
RIG = Rig(delay_samples=1234.37, drift_ppm=20.0, noise_dbfs=-110.0, lead_s=0.5)
LEAST_CHANGE_DB = 1.0
POINT_GOAL = Goal(absolute=0.01)
LOWEST_DBC = -80.0  # at a tone of -10 dBFS 20 dB above a floor of -110 dBFS: as far as the goal goes
VERDICTS = ("good", "off", "bound holds", "bound wrong", "no number")


def run_selftest(
    names: Sequence[str],
    recipe: Recipe,
    *,
    rate_hz: int,
    jobs: int,
    progress: Callable[[str], None],
) -> tuple[TruthRow, ...]:
    """Measure reference stages through the rig, `jobs` at a time, and compare with their truth.

    `progress` is called with the name of each stage that is done; rows come in the order of `names`.
    """
    rows: list[TruthRow] = []
    with workers(jobs) as others:
        found = others.map(_rows_of, names, repeat(recipe), repeat(rate_hz))
        for name, own in zip(names, found, strict=True):
            rows += own
            progress(name)
    return tuple(rows)


@dataclass(frozen=True)
class Recovered:
    """What was measured of a simulated stage, and that beside its truth."""

    profile: Profile
    rows: tuple[TruthRow, ...]


def recover(stage: Stage, stimulus: Stimulus, *, rig: Rig, seed: int) -> Recovered:
    """Send the stimulus through a stage and a bypass in the same rig; measure, and compare with truth."""
    rate_hz, samples = stimulus.rate_hz, render(stimulus)
    wet = record_with_gain(stage, samples, rig=rig, rate_hz=rate_hz, seed=seed)
    dry = record_stage(make_stage("plain-wire"), samples, rig=rig, rate_hz=rate_hz, seed=seed + 1)
    profile = characterise(
        MemoryCapture(wet.capture, rate_hz=rate_hz, name=f"{stage.name}.wav"),
        stimulus,
        channel=1,
        setting=stage.name,
        bypass=MemoryCapture(dry, rate_hz=rate_hz, name="bypass.wav"),
    )
    truth = played_truth(stage, stimulus, played=samples, gain_db=wet.gain_db)
    rows = true_rows(stage, profile, truth)
    return Recovered(profile, tuple(rows))


def _rows_of(name: str, recipe: Recipe, rate_hz: int) -> tuple[TruthRow, ...]:
    stimulus = lay_out(recipe, rate_hz=rate_hz, take=1)
    return recover(make_stage(name), stimulus, rig=RIG, seed=sum(name.encode())).rows


def played_truth(stage: Stage, stimulus: Stimulus, *, played: Array, gain_db: Array) -> dict[str, TrueValue]:
    """True values of a stage, its times at the reference step read from the gain it had while `played`."""
    return dict(stage.truth) | burst_truth(stage, stimulus, played=played, gain_db=gain_db)


def true_rows(stage: Stage, profile: Profile, truth: Mapping[str, TrueValue]) -> list[TruthRow]:
    """Set a profile beside the truth of its stage: every quantity that has a truth and a goal."""
    rows = [_points(stage, profile)] if "static" in profile.curves else []
    for quantity, true in truth.items():
        entry = profile.quantities.get(quantity)
        goal = None if entry is None else glossary.term(quantity).goal
        buried = true.unit == "dBc" and true.value < LOWEST_DBC
        if entry is not None and goal is not None and not buried:
            allowed = goal.allowed(true.value, rate_hz=profile.stimulus.rate_hz) + true.within
            rows.append(
                TruthRow(
                    profile.setting, quantity, true.value, true.unit, entry.reading, allowed, true.within
                )
            )
    return rows


def _points(stage: Stage, profile: Profile) -> TruthRow:
    """The settled point of the static curve that is farthest from the closed form."""
    table = profile.curves["static"].columns
    kept = [i for i, settled in enumerate(table["settled"]) if settled]
    levels = np.array([table["input_dbfs"][i] for i in kept], dtype=float)
    gains = np.array([table["gain_db"][i] for i in kept], dtype=float)
    stds = np.array([table["std_db"][i] for i in kept], dtype=float)
    goal = POINT_GOAL.absolute
    if not kept:
        return TruthRow(
            stage.name, WORST_POINT, 0.0, "dB", Unmeasured("dB", "none settled", "slower steps"), goal
        )
    errors = gains - stage.static_gain_db(levels)
    worst = int(np.argmax(np.abs(errors)))
    reading = Quantity.from_std(float(errors[worst]), float(stds[worst]), "dB")
    return TruthRow(stage.name, WORST_POINT, 0.0, "dB", reading, goal)


def burst_truth(stage: Stage, stimulus: Stimulus, *, played: Array, gain_db: Array) -> dict[str, TrueValue]:
    """True times at the recipe's reference step, from the gain trace a stage leaves while the stimulus plays.

    They are the mean of all bursts, known to within what the first of them changes: a stage may still
    remember what sounded before the set. Empty where the recipe has no bursts; an edge whose gain moves by
    less than `LEAST_CHANGE_DB`, or does not get as far as a share within the record, has no such time.
    """
    segments = [
        (segment, segment.spec.reference) for segment in stimulus.segments if isinstance(segment.spec, Bursts)
    ]
    if not segments:
        return {}
    segment = next((one for one, reference in segments if reference), segments[0][0])
    others = replace(
        segment, tones=tuple(tone for tone in segment.tones if tone.group != segment.tones[0].group)
    )
    burst, later = (
        true_conditions(stage, one, played=played, gain_db=gain_db, rate_hz=stimulus.rate_hz)[0]
        for one in (segment, others if others.tones else segment)
    )
    truth: dict[str, TrueValue] = {}
    closed = stage.truth
    for edge, times, without in (
        ("attack", burst.attack, later.attack),
        ("release", burst.release, later.release),
    ):
        if abs(times.change_db) >= LEAST_CHANGE_DB:
            for name in ("t50", "t63", "t90"):
                seconds, other = getattr(times, f"{name}_s"), getattr(without, f"{name}_s")
                if np.isfinite(seconds) and np.isfinite(other):
                    known = closed.get(f"{edge}.{name}")
                    within = max(known.within if known else 0.0, abs(seconds - other))
                    truth[f"{edge}.{name}"] = TrueValue(seconds, "s", within)
    if "release.tau_1_share" in closed and "release.t90" in truth:
        shares = [_first_share(closed, times.release.t90_s) for times in (burst, later)]
        truth["release.tau_1_share"] = TrueValue(shares[0], "%", abs(shares[0] - shares[1]))
    return truth


def _first_share(closed: Mapping[str, TrueValue], t90_s: float) -> float:
    """Share in % of the faster of two known stages that leave a tenth at `t90_s`: the slower fills slowly."""
    fast, slow = (math.exp(-t90_s / closed[f"release.{name}"].value) for name in ("tau_1", "tau_2"))
    return 100 * (slow - 0.1) / (slow - fast)


def rows_text(rows: Sequence[TruthRow]) -> str:
    """Lay the rows out for a terminal, stage by stage, and count the verdicts."""
    lines: list[str] = []
    for i, row in enumerate(rows):
        if i == 0 or row.stage != rows[i - 1].stage:
            heads = f"{'truth':>12}{'estimate':>12}{'low':>12}{'high':>12}{'error':>10}"
            lines += ["", row.stage, f"  {'quantity':<30}{heads}"]
        if isinstance(row.reading, Unmeasured):
            numbers = _bound_text(row.reading)
        else:
            found = (row.reading.value, row.reading.low, row.reading.high)
            numbers = "".join(f"{value:>12.5g}" for value in found) + f"{row.error:>+10.1g}"
        allowed = f"allowed {row.allowed:.2g} {row.unit}".rstrip()
        lines.append(f"  {row.quantity:<30}{row.truth:>12.5g}{numbers:<46}  {row.verdict} ({allowed})")
    counts = {word: sum(row.verdict == word for row in rows) for word in VERDICTS}
    covered = [row.covered for row in rows if row.covered is not None]
    lines += [
        "",
        ", ".join(f"{count} {word}" for word, count in counts.items()),
        f"95 % intervals that hold the truth: {sum(covered)} of {len(covered)}",
    ]
    return "\n".join(lines)


def _bound_text(reading: Unmeasured) -> str:
    if reading.at_least is not None:
        return f"{'at least':>12}{reading.at_least:>12.5g}"
    return "" if reading.at_most is None else f"{'at most':>12}{reading.at_most:>12.5g}"
