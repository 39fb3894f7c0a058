"""Self-test: the reference stages recovered through a rig, truth beside estimate."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from charprobe.generators.render import lay_out, render
from charprobe.goals import GOALS
from charprobe.pipeline import characterise
from charprobe.profile import Profile
from charprobe.quantity import Quantity, Reading, Unmeasured
from charprobe.recipe import Bursts, Recipe
from charprobe.simulate import record_stage
from charprobe.source import MemoryCapture
from charprobe.stages.catalogue import make_stage
from charprobe.stages.rig import Rig
from charprobe.stages.stage import Stage, TrueValue
from charprobe.stages.true_times import true_burst
from charprobe.stimulus import Stimulus

RIG = Rig(delay_samples=1234.37, drift_ppm=20.0, noise_dbfs=-110.0, bits=24, lead_s=0.5)
FULL_RELEASE_S = 8.0
LEAST_CHANGE_DB = 1.0


@dataclass(frozen=True)
class Row:
    """One quantity of one stage: truth, what was measured, and whether that is good enough."""

    stage: str
    quantity: str
    truth: float
    unit: str
    reading: Reading
    allowed: float

    @property
    def error(self) -> float | None:
        """Estimate minus truth; None where there is no estimate."""
        return self.reading.value - self.truth if isinstance(self.reading, Quantity) else None

    @property
    def verdict(self) -> str:
        """``good``, ``off``, ``bound holds``, ``bound wrong`` or ``no number``."""
        if self.error is not None:
            return "good" if abs(self.error) <= self.allowed * (1 + 1e-9) else "off"
        assert isinstance(self.reading, Unmeasured)
        low, high = self.reading.at_least, self.reading.at_most
        if low is None and high is None:
            return "no number"
        holds = (low is None or self.truth >= low - self.allowed) and (
            high is None or self.truth <= high + self.allowed
        )
        return "bound holds" if holds else "bound wrong"

    @property
    def covered(self) -> bool | None:
        """Whether the 95 % interval holds the truth; None where there is no estimate."""
        reading = self.reading
        return reading.low <= self.truth <= reading.high if isinstance(reading, Quantity) else None

    def to_dict(self) -> dict[str, str | float | None]:
        """The row for machines."""
        found = self.reading if isinstance(self.reading, Quantity) else None
        return {
            "stage": self.stage,
            "quantity": self.quantity,
            "unit": self.unit,
            "truth": self.truth,
            "estimate": found.value if found else None,
            "low": found.low if found else None,
            "high": found.high if found else None,
            "allowed": self.allowed,
            "verdict": self.verdict,
        }


def run_selftest(
    names: Sequence[str],
    recipe: Recipe,
    *,
    rate_hz: int,
    jobs: int,
    progress: Callable[[str], None],
) -> tuple[Row, ...]:
    """Measure reference stages through the rig and compare with their truth.

    Parameters
    ----------
    names : sequence of str
        Reference stages.
    recipe : Recipe
        What is played.
    rate_hz : int
        Sampling rate.
    jobs : int >= 1
        Stages measured at the same time.
    progress : callable
        Called with the name of each stage that is done.

    Returns
    -------
    tuple of Row
        In the order of `names`.
    """
    rows: list[Row] = []
    with ProcessPoolExecutor(max_workers=jobs) as pool:
        results = pool.map(_rows_of, names, [recipe] * len(names), [rate_hz] * len(names))
        for name, own in zip(names, results, strict=True):
            rows += own
            progress(name)
    return tuple(rows)


def measure_stage(stage: Stage, stimulus: Stimulus, *, rig: Rig, seed: int) -> Profile:
    """Send the stimulus through a stage and through a bypass, both in the same rig, and measure."""
    rate_hz, samples = stimulus.rate_hz, render(stimulus)
    wet = record_stage(stage, samples, rig=rig, rate_hz=rate_hz, seed=seed)
    dry = record_stage(make_stage("plain-wire"), samples, rig=rig, rate_hz=rate_hz, seed=seed + 1)
    return characterise(
        MemoryCapture(wet, rate_hz=rate_hz, name=f"{stage.name}.wav"),
        stimulus,
        channel=1,
        setting=stage.name,
        bypass=MemoryCapture(dry, rate_hz=rate_hz, name="bypass.wav"),
    )


def _rows_of(name: str, recipe: Recipe, rate_hz: int) -> list[Row]:
    stage, stimulus = make_stage(name), lay_out(recipe, rate_hz=rate_hz, take=1)
    profile = measure_stage(stage, stimulus, rig=RIG, seed=sum(name.encode()))
    return true_rows(stage, profile, recipe, rate_hz=rate_hz)


def true_rows(stage: Stage, profile: Profile, recipe: Recipe, *, rate_hz: int) -> list[Row]:
    """Set a profile beside the truth of the stage it was measured on: every quantity with a truth and a goal."""
    truth = dict(stage.truth) | burst_truth(stage, recipe, rate_hz=rate_hz)
    rows = [_points(stage, profile)] if "static" in profile.curves else []
    for quantity, true in truth.items():
        entry, goal = profile.quantities.get(quantity), GOALS.get(quantity)
        if entry is not None and goal is not None:
            allowed = goal.allowed(true.value, rate_hz=rate_hz) + true.within
            rows.append(Row(stage.name, quantity, true.value, true.unit, entry.reading, allowed))
    return rows


def _points(stage: Stage, profile: Profile) -> Row:
    """The settled point of the static curve that is farthest from the closed form."""
    table = profile.curves["static"].columns
    kept = [i for i, settled in enumerate(table["settled"]) if settled]
    levels = np.array([table["input_dbfs"][i] for i in kept], dtype=float)
    gains = np.array([table["gain_db"][i] for i in kept], dtype=float)
    stds = np.array([table["std_db"][i] for i in kept], dtype=float)
    goal = GOALS["static.points"].absolute
    if not kept:
        return Row(
            stage.name, "static.points", 0.0, "dB", Unmeasured("dB", "none settled", "slower steps"), goal
        )
    errors = gains - stage.static_gain_db(levels)
    worst = int(np.argmax(np.abs(errors)))
    reading = Quantity.from_std(float(errors[worst]), float(stds[worst]), "dB")
    return Row(stage.name, "static.points", 0.0, "dB", reading, goal)


def burst_truth(stage: Stage, recipe: Recipe, *, rate_hz: int) -> dict[str, TrueValue]:
    """True times at the recipe's reference step, from the stage's own gain trace over 16 carrier phases.

    The gain after the burst is followed for `FULL_RELEASE_S`. Empty where the recipe has no bursts or the gain
    moves by less than `LEAST_CHANGE_DB`.
    """
    specs = [spec for spec in recipe.segments if isinstance(spec, Bursts)]
    if not specs:
        return {}
    spec = next((spec for spec in specs if spec.reference), specs[0])
    burst = true_burst(
        stage,
        low_dbfs=spec.low_dbfs,
        high_dbfs=spec.high_dbfs,
        carrier_hz=spec.carrier_hz,
        lead_s=spec.lead_s,
        hold_s=spec.hold_s,
        release_s=FULL_RELEASE_S,
        rate_hz=rate_hz,
        rng=np.random.default_rng(0),
    )
    truth: dict[str, TrueValue] = {}
    for edge, times in (("attack", burst.attack), ("release", burst.release)):
        if abs(times.change_db) >= LEAST_CHANGE_DB:
            shares = {"t50": times.t50_s, "t63": times.t63_s, "t90": times.t90_s}
            truth |= {f"{edge}.{name}": TrueValue(value, "s") for name, value in shares.items()}
    return truth


def rows_text(rows: Sequence[Row]) -> str:
    """Lay the rows out for a terminal, stage by stage, and count the verdicts."""
    lines: list[str] = []
    for i, row in enumerate(rows):
        if i == 0 or row.stage != rows[i - 1].stage:
            lines += [
                "",
                row.stage,
                f"  {'quantity':<30}{'truth':>11}{'estimate':>11}{'95 % interval':>23}{'error':>12}",
            ]
        if isinstance(row.reading, Quantity):
            interval = f"{row.reading.low:.5g} .. {row.reading.high:.5g}"
            found = f"{row.reading.value:>11.5g}{interval:>23}{row.error:>+12.2g}"
        else:
            found = f"{_bound_text(row.reading):>34}{'':>12}"
        lines.append(
            f"  {row.quantity:<30}{row.truth:>11.5g}{found}  {row.verdict} (allowed {row.allowed:.2g} {row.unit})"
        )
    counts = {
        word: sum(row.verdict == word for row in rows)
        for word in ("good", "off", "bound holds", "bound wrong", "no number")
    }
    covered = [row.covered for row in rows if row.covered is not None]
    lines += [
        "",
        ", ".join(f"{count} {word}" for word, count in counts.items()),
        f"95 % intervals that hold the truth: {sum(covered)} of {len(covered)}",
    ]
    return "\n".join(lines)


def _bound_text(reading: Unmeasured) -> str:
    if reading.at_least is not None:
        return f"at least {reading.at_least:.5g}"
    return "none" if reading.at_most is None else f"at most {reading.at_most:.5g}"
