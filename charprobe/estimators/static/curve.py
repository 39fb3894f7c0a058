"""The static curve: settled gain against input level, and the curve that holds for it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from charprobe.estimators.static.bends import BendsFit, StraightSection
from charprobe.estimators.static.curve_choice import CurveChoice
from charprobe.estimators.static.points import SATURATES_SHARE, StaticPoint, bent_db
from charprobe.values.arrays import Array, Index
from charprobe.values.quantity import DB_PER_NEPER, Quantity, Reading, Unmeasured, student_factor

FLOOR_DB = 0.0002  # levels of recorders and drifts unseen within a step: added to every point's uncertainty
FEWEST_LEVELS = 6
LEVEL_DB = 0.1  # levels this close are one
PLATEAU_DB = 0.02
LIFTED_DB = 1.0  # a gain that rises by more above its lowest plateau was held down there
MOVED_DB, SETTLED_SHARE = 0.1, 2 / 3  # share of the levels whose gain has moved that must have settled
NEARLY_DB, NEARLY_STD_DB = 0.3, 0.05  # left to go, and how well known, of a step that is as good as settled
FEWEST_UNFINISHED = 3  # steps up that had not settled
QUIET = 1 / 3  # share of the levels, from the lowest, that is quiet
UNSEEN_SHARE = 0.3  # of what a step had left to go, that a slower stage may add unseen
MISSED_STDS = 2.0  # standard uncertainties of a level beyond which a curve that misses it is not exact there
FLAT_STDS = 4.0  # standard uncertainties that six levels which agree span at most
SHOWN_DB = 0.03  # reduction already there at the lowest step that still lets the low-level gain be told
LOWER_STEPS = "a recipe with lower level steps"
HIGHER_STEPS = "a recipe with higher level steps, or more gain before the stage"
MORE_STEPS = "a recipe with longer or more level steps, such as static or full"
TOO_FEW = Unmeasured("dB", "too few level steps had settled", MORE_STEPS, cause="short-steps")


@dataclass(frozen=True)
class StaticCurve:
    """Settled gain against input level at one frequency.

    Attributes
    ----------
    points : tuple of StaticPoint
        All steps in playing order, marked.
    choice : CurveChoice or None
        The curve chosen for the points in use; None if too few steps had settled.
    axis_std_db : float
        Standard uncertainty of the whole input axis (gain of the path, from the bypass).
    drift_std_db : float
        Standard uncertainty of any level step for what the gain of the gear moved by meanwhile.
    take_std_db : float
        The same of a level at any time of the take.
    slow_db : float
        The same of any reduced level for a store that is slower than steps and tones; 0 where none shows.
    """

    points: tuple[StaticPoint, ...]
    choice: CurveChoice | None
    axis_std_db: float
    drift_std_db: float = 0.0
    take_std_db: float = 0.0
    slow_db: float = 0.0

    @property
    def level_std_db(self) -> float:
        """Standard uncertainty of any level of the take over the input axis: the axis itself, and drift."""
        return float(np.hypot(self.axis_std_db, self.take_std_db))

    @property
    def fit(self) -> BendsFit | None:
        """The chosen curve if it holds, else None. Its covariance covers all its parameters."""
        return self.choice.fit if self.choice is not None and self.choice.holds else None

    @cached_property
    def used(self) -> tuple[Array, Array, Array]:
        """Input levels, gains and standard uncertainties of the points in use, by rising level."""
        rows = sorted((p.input_dbfs, p.gain_db, p.std_db) for p in self.points if p.used)
        level, gain, std = np.array(rows, dtype=float).reshape(-1, 3).T
        return level, gain, np.hypot(std, FLOOR_DB)

    @cached_property
    def means(self) -> tuple[Array, Array, Array]:
        """Levels in use, the gain at each averaged over directions, and its standard uncertainty."""
        level, gain, std = self.used
        levels, index = _levels(level)
        total = np.bincount(index, weights=std**-2)
        return levels, np.bincount(index, weights=gain * std**-2) / total, np.asarray(total**-0.5)

    def beside(self, share: float) -> StaticCurve:
        """The curve where so much of the sound may go past the stage: unreduced, louder beside the rest."""
        most_db = max(p.gain_db for p in self.points)

        def past_db(gain_db: Array) -> Array:
            return DB_PER_NEPER * share / math.sqrt(2) * (10 ** ((most_db - gain_db) / 20) - 1)

        own = past_db(np.array([p.gain_db for p in self.points])).tolist()
        points = (replace(p, std_db=math.hypot(p.std_db, db)) for p, db in zip(self.points, own, strict=True))
        choice, (level, gain, std) = self.choice, self.used
        if choice is not None:
            choice = replace(choice, fit=choice.fit.moved_by(past_db(gain), level, std))
        return replace(self, points=tuple(points), choice=choice)

    @property
    def too_few(self) -> Unmeasured:
        """Why the steps in use tell no curve: what flattens the output, or steps that had not settled."""
        levels = {round(p.input_dbfs, 1) for p in self.points}
        flat = {round(p.input_dbfs, 1) for p in self.points if p.saturated and p.settled}
        if not flat or len(levels) - len(flat) >= FEWEST_LEVELS:
            return TOO_FEW
        reason = f"the output is flattened by saturation at {len(flat)} of {len(levels)} levels"
        return Unmeasured("dB", reason, LOWER_STEPS, cause="high-levels")

    @property
    def lowest_dbfs(self) -> float:
        """Lowest input level in use."""
        return float(self.used[0][0])

    @property
    def next_lowest_dbfs(self) -> float:
        """Second lowest input level in use: where a slope below it has shown."""
        return float(np.unique(np.round(self.used[0], 1))[1])

    @property
    def highest_dbfs(self) -> float:
        """Highest input level in use."""
        return float(self.used[0][-1])

    @property
    def unknown_above(self) -> bool:
        """Whether steps above the highest in use had not settled, so that none shows what happens there."""
        top = self.highest_dbfs + LEVEL_DB
        return any(not p.settled and not p.saturated and p.input_dbfs > top for p in self.points)

    def asked_above(self, missing: Unmeasured) -> Unmeasured:
        """Ask for longer steps, not for higher ones, where those above the highest in use had not settled."""
        if not self.unknown_above:
            return missing
        reason = f"{missing.reason}; no step above had settled"
        return replace(missing, reason=reason, next=MORE_STEPS, cause="short-steps")

    @property
    def only_saturates(self) -> bool:
        """Whether the gain is constant wherever steps are in use, and what is lost above is saturation."""
        shape = None if self.fit is None else self.fit.shape
        flat = shape is not None and not shape.facing and not shape.sloped
        return flat and not self.unknown_above and any(point.saturated for point in self.points)

    @property
    def bends_waves(self) -> bool:
        """Whether third harmonic explains part of how the gain differs: a gain that moves makes none."""
        gains = [point.gain_db for point in self.points]
        share = np.array([point.odd_share for point in self.points])
        return float(bent_db(share).max()) > SATURATES_SHARE * (max(gains) - min(gains))

    @cached_property
    def common_std_db(self) -> float:
        """What all reduced levels may be off by together: drift, and the law that extrapolated them.

        The law moves the curve by the share of the levels that hang on it: settled steps between them do not.
        """
        close = [p for p in self.points if p.used and not p.settled and nearly(p)]
        if not close:
            return self.drift_std_db
        typical = float(np.median([max(p.std_db, UNSEEN_SHARE * abs(p.remaining_db)) for p in close]))
        lowest = min(p.input_dbfs for p in close)
        among = sum(p.used and p.input_dbfs >= lowest for p in self.points)
        return float(np.hypot(self.drift_std_db, typical * len(close) / among))

    @property
    def flat_section(self) -> StraightSection | None:
        """The section that carries the low-level gain, None if it lies outside the points."""
        fit = self.fit
        if fit is None or fit.shape.sloped:
            return None
        section = fit.sections[fit.shape.lower]
        ends = np.array([max(section.begin, self.lowest_dbfs), min(section.end, self.highest_dbfs)])
        hidden = np.abs(fit.gain(np.clip(ends, self.lowest_dbfs, self.highest_dbfs)) - fit.parameters[0])
        return section if float(hidden.min()) < SHOWN_DB else None

    @cached_property
    def low_level_gain(self) -> Reading:
        """Gain where nothing is reduced, output over input axis, in dB, without the axis' own uncertainty."""
        if np.unique(np.round(self.used[0], 1)).size < FEWEST_LEVELS:
            return self.too_few
        if self.fit is None:
            return self._lowest_plateau()
        flat = self.flat_section
        if flat is None:
            return self._bent_below()
        rest, std = float(self.fit.parameters[0]), float(self.fit.covariance[0, 0] ** 0.5)
        level, gain, own = self.means
        inside = (level >= flat.begin) & (level <= flat.end)
        if np.count_nonzero(inside) >= FEWEST_LEVELS:  # what the curve misses elsewhere is no doubt of these
            mean, local = _common(gain[inside], own[inside])
            rest, std = (mean, local) if local < std else (rest, std)
        return Quantity.from_std(rest, math.hypot(std, self.drift_std_db), "dB")

    def gain_at(self, input_dbfs: float) -> Reading:
        """Return the settled gain at an input level, in dB.

        From the curve where one holds, else between the neighbouring steps. A level more than one step
        outside the measured range is not answered.
        """
        level, gain, std = self.used
        if self.choice is None:
            return self.too_few
        reach = float(np.max(np.diff(np.unique(level)), initial=0.0))
        if level.size == 0 or not level[0] - reach <= input_dbfs <= level[-1] + reach:
            reason = f"no settled level step lies near {in_dbfs(input_dbfs)}"
            return Unmeasured("dB", reason, "a recipe whose level steps include this level")
        shifted = float(np.hypot(self.axis_std_db * self._slope_at(input_dbfs), self.common_std_db))
        if self.fit is not None:
            at = np.array([input_dbfs])
            spread = float(np.hypot(self.fit.spread(self.fit.jacobian(at))[0], self.missed_db(input_dbfs)))
            return Quantity.from_std(float(self.fit.gain(at)[0]), float(np.hypot(spread, shifted)), "dB")
        value, bow, spread = between_steps(level, gain, std, input_dbfs)
        return Quantity.from_std(value, float(np.hypot(np.hypot(spread, bow), shifted)), "dB")

    def missed_db(self, input_dbfs: float) -> float:
        """How far the curve misses the two levels beside one, beyond their uncertainty."""
        level, mean, std = self.means
        if self.fit is None:
            return 0.0
        beside = np.argsort(np.abs(level - input_dbfs))[:2]
        off = np.abs(mean[beside] - self.fit.gain(level[beside])) - MISSED_STDS * std[beside]
        return max(0.0, float(off.max()))

    def reduction_at(self, input_dbfs: float) -> Reading:
        """Return the settled gain reduction at an input level: low-level gain minus the gain there, in dB."""
        low, here = self.low_level_gain, self.gain_at(input_dbfs)
        if isinstance(low, Unmeasured) or isinstance(here, Unmeasured):
            return low if isinstance(low, Unmeasured) else here
        std = float(np.hypot(low.std, here.std))
        if self.fit is not None:  # both hang on the same constant
            weights = self.fit.jacobian(np.array([input_dbfs]))
            weights[:, 0] -= 1.0
            shifted = np.hypot(self.axis_std_db * self._slope_at(input_dbfs), self.common_std_db)
            spread = np.hypot(self.fit.spread(weights)[0], self.missed_db(input_dbfs))
            std = float(np.hypot(spread, shifted))
        return Quantity.from_std(low.value - here.value, std, "dB")

    def level_of_reduction(self, reduction_db: float) -> Reading:
        """Return the input level above the flat section at which so much gain is reduced, in dBFS."""
        unit, flat, fit = "dBFS", self.flat_section, self.fit
        if fit is None or flat is None:
            return Unmeasured(
                unit, "there is no static curve with a low-level gain to read it off", MORE_STEPS
            )
        levels = np.linspace(max(flat.begin, self.lowest_dbfs), self.highest_dbfs, 2000)
        reduced = fit.parameters[0] - fit.gain(levels)
        if not 0 < reduction_db <= reduced.max():
            reason = f"no measured level is reduced by {reduction_db:.2f} dB"
            return Unmeasured(unit, reason, "a recipe with higher level steps")
        first = int(np.argmax(reduced >= reduction_db))
        value = float(np.interp(reduction_db, reduced[first - 1 : first + 1], levels[first - 1 : first + 1]))
        found = self.reduction_at(value)
        std = found.std / max(self._slope_at(value), 1e-3) if isinstance(found, Quantity) else 0.0
        return Quantity.from_std(value, std, unit)

    def _slope_at(self, input_dbfs: float) -> float:
        """Size of the gain's slope at a level, in dB per dB."""
        around = np.array([input_dbfs - 0.5, input_dbfs + 0.5])
        gains = self.fit.gain(around) if self.fit is not None else np.interp(around, *self.used[:2])
        return float(abs(gains[1] - gains[0]))

    def reduction_db_at(self, input_dbfs: float) -> float | None:
        """Return the value of `reduction_at`, None where it is not known."""
        reading = self.reduction_at(input_dbfs)
        return reading.value if isinstance(reading, Quantity) else None

    def steepness_at(self, input_dbfs: float) -> float:
        """How many dB the settled gain rises by with each dB of level; 0 beyond the steps."""
        level, gain, _ = self.means
        if level.size < 2 or not level[0] <= input_dbfs <= level[-1]:
            return 0.0
        return float(np.interp(input_dbfs, level, np.gradient(gain, level)))

    @cached_property
    def unfinished_db(self) -> float:
        """How well the gain of a tone is known where steps up, as long as it, do not settle; 0 where they do.

        Steps up that had not settled tell of a store slower than they are long, wherever else it hides.
        """
        rest = self.low_level_gain
        moved = [
            p.std_db
            for p in self.points
            if p.direction == "rising" and not p.settled and not p.saturated
            and (isinstance(rest, Unmeasured) or abs(p.gain_db - rest.value) > MOVED_DB)
        ]  # fmt: skip
        return float(np.median(moved)) if len(moved) >= FEWEST_UNFINISHED else 0.0

    @cached_property
    def restless_db(self) -> float:
        """What quiet steps up typically had left to go where hardly any step up had settled; else 0.

        A gain that follows the level rests at some level: this one follows what was played before.
        """
        rising = sorted((p for p in self.points if p.direction == "rising"), key=lambda p: p.input_dbfs)
        quiet = rising[: max(1, round(QUIET * len(rising)))]
        left = [0.0 if p.settled else abs(p.remaining_db) for p in quiet]
        hardly = sum(p.settled for p in rising) < (1 - SETTLED_SHARE) * len(rising)
        return float(np.median(left)) if hardly else 0.0

    @property
    def reaches_down(self) -> bool:
        """Whether the lowest step played is in use, or the one above it."""
        played = np.unique([round(p.input_dbfs, 1) for p in self.points])
        return bool(self.lowest_dbfs <= played[:2][-1] + 0.1)

    def _bent_below(self) -> Unmeasured:
        lowest = in_dbfs(self.lowest_dbfs)
        if self._rests():
            return Unmeasured("dB", "the curve that holds for the steps rests at no level", MORE_STEPS)
        if self.reaches_down:
            return Unmeasured(
                "dB",
                f"the gain changes with level even at the lowest step, {lowest}",
                LOWER_STEPS,
                cause="high-levels",
            )
        reason = f"the gain changes with level at {lowest}, and no step below that had settled"
        return Unmeasured("dB", reason, MORE_STEPS, cause="short-steps")

    def _rests(self) -> bool:
        """Whether the lowest levels agree as well as they are known, though no section is flat."""
        _, gain, std = (each[:FEWEST_LEVELS] for each in self.means)
        return gain.size == FEWEST_LEVELS and float(np.ptp(gain)) < FLAT_STDS * float(std.max())

    @property
    def plateau_dbfs(self) -> tuple[float, float] | None:
        """Lowest and highest level of those that agree, where the low-level gain is theirs; else None."""
        if self.fit is not None or isinstance(self.low_level_gain, Unmeasured):
            return None
        return float(self.used[0][0]), float(self.used[0][self._agreeing - 1])

    @cached_property
    def _agreeing(self) -> int:
        """How many points in use, from the lowest level on, have one gain; three at least."""
        _, gain, std = self.used
        count = 3
        while count < gain.size and abs(gain[count] - gain[:count].mean()) < max(PLATEAU_DB, 3 * std[count]):
            count += 1
        return count

    def _lowest_plateau(self) -> Reading:
        """Gain of the lowest levels for as long as they agree, for curves without a model."""
        _, gain, std = self.used
        count = self._agreeing
        spread = float(np.ptp(gain[:count]))
        if spread > max(2 * PLATEAU_DB, 6 * float(std[:count].max())):
            return self._bent_below()
        risen_db = float(gain[count:].max(initial=gain[0]) - gain[:count].mean())
        if risen_db > LIFTED_DB:
            reason = (
                f"the gain rises by {risen_db:.1f} dB above the lowest steps: they may lie on a gate's floor"
            )
            return Unmeasured("dB", reason, MORE_STEPS)
        weight = 1 / (std[:count] ** 2 + (PLATEAU_DB / 4) ** 2)  # noise counts less, a slight bend does not
        weight /= weight.sum()
        mean = float(weight @ gain[:count])
        own = np.sqrt(weight**2 @ std[:count] ** 2 + weight @ (gain[:count] - mean) ** 2)
        return Quantity.from_std(mean, float(np.hypot(own, self.drift_std_db)), "dB")


def _common(gain: Array, std: Array) -> tuple[float, float]:
    """Mean of levels that share a gain, and its standard uncertainty by their own and by their scatter.

    Where one half of them scatters far more than the other, it bends: the other shares a gain.
    """
    halves = zip(np.array_split(gain, 2), np.array_split(std, 2), strict=True)
    calm, bent = sorted(halves, key=lambda half: _scatter(*half))
    if gain.size >= 2 * FEWEST_LEVELS and _scatter(*bent) > FLAT_STDS**2 * _scatter(*calm):
        return _common(*calm)
    factor = student_factor(gain.size - 1) * math.sqrt(_scatter(gain, std))
    return float(np.average(gain, weights=std**-2)), factor / math.sqrt(float(np.sum(std**-2)))


def _scatter(gain: Array, std: Array) -> float:
    """How far gains scatter about their mean: mean square over that of their uncertainty, 1 at least."""
    apart = (gain - np.average(gain, weights=std**-2)) / std
    return max(1.0, float(apart @ apart) / (gain.size - 1))


def nearly(point: StaticPoint) -> bool:
    """Whether a step had so little left to go that it is as good as settled."""
    return abs(point.remaining_db) < NEARLY_DB and point.std_db < NEARLY_STD_DB


def between_steps(level: Array, gain: Array, std: Array, at: float) -> tuple[float, float, float]:
    """Read a curve without a model: value by the cubic through the four nearest levels, its bow, its spread.

    The bow is half of what the cubic differs by from the straight line between the two nearest levels, a
    standard uncertainty for what the curve may do between steps.
    """
    levels, index = _levels(level)
    means = np.bincount(index, weights=gain / std**2) / np.bincount(index, weights=std**-2)
    near = np.sort(np.argsort(np.abs(levels - at))[:4])
    value = float(np.polyval(np.polyfit(levels[near] - at, means[near], near.size - 1), 0.0))
    straight = float(np.interp(at, levels, means))
    return value, abs(value - straight) / 2, float(std[np.isin(index, near)].max())


def _levels(level: Array) -> tuple[Array, Index]:
    """Levels played, both directions as one, and which of them each point belongs to."""
    _, index = np.unique(np.round(level, 1), return_inverse=True)
    return np.bincount(index, weights=level) / np.bincount(index), index


def in_dbfs(level: float) -> str:
    """Word a level to a tenth of a dB."""
    return f"{level:.1f} dBFS".replace("-", "−")
