"""Which structure the gain cell of a stage has, filters on the sides where it is met best: the plainest."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import numpy as np

from charprobe.profile.profile import Profile
from charprobe.replica.fitting.ahead import FOLLOW
from charprobe.replica.fitting.cell_fit import Fitted
from charprobe.replica.fitting.filter_fit import Linear, fit_filter
from charprobe.replica.fitting.first_cell import first_cell, quiet_of
from charprobe.replica.fitting.heard import Memory
from charprobe.replica.fitting.least_squares import Effort
from charprobe.replica.fitting.pair import Noise, Pair
from charprobe.replica.fitting.search import (
    AT_NOISE,
    BETTER,
    BUDGET,
    CLOSER,
    DETECTORS,
    FIRST,
    READINGS,
    SETTLE,
    Budget,
    Call,
    Start,
    all_of,
    fit_side_by_side,
    search,
    unheard,
)  # fmt: skip
from charprobe.replica.fitting.sounds import Sounds, sounds_of, without_filter
from charprobe.replica.fitting.stretches import Stretch, Use, stretches_of
from charprobe.replica.fitting.structures import Structure, above, cell_of
from charprobe.replica.fitting.whole_fit import WHOLE, Whole, fit_whole
from charprobe.replica.fitting.without_cell import NONE, coloured
from charprobe.replica.parts import Cell, Chain, Colour, Place

Told = Callable[[float], None]
# shares of the budget kept for what may follow a search: all structures, longer memory or a filter, refits
FOR_ALL, FOR_FILTER, FOR_REFITS = 0.75, 0.4, 0.2
SIDED = 4  # structures that tell on which side of the cell a filter is
NEARLY = 2.0  # times the error with which a stage is met: sides of filters and colour are told
BESIDES = 0.8  # of the error with all filters behind: what one ahead must leave
AGAIN = 8  # of the best structures that are looked at again, once a filter is known


class Work:
    """One fit: what it hears now, with which filters, and what it may still do."""

    def __init__(self, pair: Pair, profile: Profile, noise: Noise, jobs: int, told: Told) -> None:
        self.pair, self.noise, self.jobs, self.told = pair, noise, jobs, told
        self.first, self.budget = first_cell(profile), Budget(BUDGET)
        known = above(self.first) and any(
            profile.measured(f"static.{name}") for name in ("threshold", "threshold_1db")
        )
        threshold_dbfs = self.first.bends[0].threshold_dbfs - pair.dry.alignment.gain_db if known else -np.inf
        self.stretches = stretches_of(pair.wet, threshold_dbfs=threshold_dbfs)  # on the axis of the stimulus
        uses: tuple[Use, ...] = ("search", "held out")
        sweeps = [replace(one, use=use) for one in self.stretches if one.use == "sweep" for use in uses]
        self.with_sweep = [*self.stretches, *sweeps]
        self.linear = fit_filter(pair, Cell())
        self.sounds = self.heard(self.first)
        self.floor = AT_NOISE * float(np.hypot(self.sounds.held_out.noise_score, 1.0))

    def searched(self) -> list[Fitted]:
        """Structures, the best first: the usual ones, then all, then bent ones."""
        quiet, bends = quiet_of(self.first), len(above(self.first))
        like = Structure(quiet=quiet, bends=bends, low_cut=1 if self.first.detector.low_cut_hz > 0 else 0)
        usual = (replace(one, quiet=quiet, bends=bends, low_cut=like.low_cut) for one in FIRST)
        found = self._looked(usual, [])
        if not self._met(found[0]):
            place = self.linear, self.sounds
            longer = self._longer(found, FOR_ALL)
            if longer is not found and self._met(longer[0]):
                return longer
            self.linear, self.sounds = place
            # neighbours of the two usual detectors, and of the two that came out best where they are others
            best = dict.fromkeys((one.structure.reads, one.structure.averaged) for one in found)
            detectors = dict.fromkeys((*READINGS[1:3], *list(best)[:DETECTORS]))
            found = self._looked(all_of(like, list(detectors)), found)
            if not self._met(found[0]):
                found = self._bent(like, found)
        return self._longer(found, FOR_REFITS)

    def listened(self, found: list[Fitted]) -> list[Fitted]:
        """Structures searched again with noise behind the stage alone, where the best meets it better so."""
        noise, sounds, best = self.noise, self.sounds, found[0]
        self.noise = replace(noise, heard=0.0)
        self.sounds = self.heard(best.cell)
        call = best.structure, best.cell, self.sounds.search, self.sounds.held_out
        if self.fit([call], CLOSER)[0].held_out < BETTER * best.held_out:
            return self.search([(one.structure, one.cell) for one in found[:AGAIN]]) or found
        self.noise, self.sounds = noise, sounds
        return found

    def search(self, among: Sequence[Start], keep: float = FOR_REFITS, colour: Colour = NONE) -> list[Fitted]:
        """Search structures, the best first; none where the budget is not enough for a look."""
        sounds = self.sounds.without_colour(colour)
        return search(
            among, sounds.search, sounds.held_out, rate_hz=self.pair.rate_hz, jobs=self.jobs,
            budget=self.budget, keep=keep * BUDGET, told=lambda share: self.told(0.1 + 0.6 * share),
        )  # fmt: skip

    def fit(self, calls: Sequence[Call], effort: Effort) -> list[Fitted]:
        """Fit structures side by side, as far as each goes."""
        fitted = list(fit_side_by_side(calls, rate_hz=self.pair.rate_hz, effort=effort, jobs=self.jobs))
        for one in fitted:
            self.budget.spend(one)
        return fitted

    def at_once(self, near: Whole, raw: Sounds, effort: Effort) -> Whole | None:
        """All numbers of a chain fitted to what was captured; None where the budget does not bear that."""
        heard = raw.fit if effort.spread else raw.search
        call = (near.fitted.structure, near.fitted.cell, heard, raw.held_out)
        if not self.budget.affords([call], effort):
            return None
        rate_hz = self.pair.rate_hz
        whole = fit_whole(near, heard, raw.held_out, rate_hz=rate_hz, effort=effort, threads=self.jobs)
        self.budget.spend(whole.fitted)
        return whole

    def coloured(self, cell: Cell, places: Sequence[Place]) -> Colour:
        """The colour beside a cell that tones speak for."""
        among = Chain(self.linear.ahead, cell, NONE, self.linear.sections)
        return coloured(among, places, self.sounds, self.pair.rate_hz)

    def heard(self, *cells: Cell) -> Sounds:
        """All sounds behind as much as any cell remembers, without the filters known."""
        return self._without(self.linear, self._read(self.stretches, self.linear.late, *cells))

    def raw(self, cell: Cell, late: float) -> Sounds:
        """All sounds behind as much as a cell remembers, the sweep among them and no filter taken off."""
        return self._read(self.with_sweep, late, cell)

    def _read(self, stretches: Sequence[Stretch], late: float, *cells: Cell) -> Sounds:
        memory = Memory.of(*(cell.smoothing for cell in cells))
        return sounds_of(replace(self.pair, late=late), stretches, memory=memory, noise=self.noise)

    def _without(self, linear: Linear, sounds: Sounds) -> Sounds:
        return without_filter(sounds, linear, replace(self.pair, late=linear.late))

    def _looked(self, field: Iterable[Structure], found: list[Fitted]) -> list[Fitted]:
        """A field of structures searched, the best of those that are known among them."""
        starts = {one: self.first for one in field if one.sound}
        starts |= {one.structure: one.cell for one in found[:AGAIN]}
        return self._sided(self.search(list(starts.items()), FOR_FILTER) or found)

    def _sided(self, found: list[Fitted]) -> list[Fitted]:
        """Structures searched again where they meet the stage better with a filter ahead of them."""
        if found[0].held_out <= self.floor or not any(self.linear.kinds):
            return found
        least, best = BESIDES * found[0].held_out, None
        read = self._read(self.stretches, self.linear.late, found[0].cell)
        for linear in self.linear.placements():
            sounds = self._without(linear, read)
            calls = [(one.structure, one.cell, sounds.search, sounds.held_out) for one in found[:SIDED]]
            for one in self.fit(self.budget.affords(calls, FOLLOW, keep=FOR_FILTER * BUDGET), FOLLOW):
                if one.held_out < least:
                    least, best = one.held_out, (one.cell, linear, sounds)
        if best is None:
            return found
        cell, self.linear, self.sounds = best
        return self.search([(one.structure, cell) for one in found[:AGAIN]]) or found

    def _longer(self, found: list[Fitted], keep: float) -> list[Fitted]:
        """Structures searched again behind longer memory, where what meets the stage best asks for it."""
        more = unheard(found, self.sounds.memory) if found[0].held_out >= self.floor else []
        if not more:
            return found
        begun = (cell_of(one.structure, self.first) for one in more)
        self.sounds = self.heard(*begun, *(one.cell for one in more))
        again = dict.fromkeys((one.structure, one.cell) for one in (*found[:AGAIN], *more))
        return self._sided(self.search(list(again), keep) or found)

    def _bent(self, like: Structure, found: list[Fitted]) -> list[Fitted]:
        """Structures whose times are none, searched beside the best where one meets the stage better.

        First they are told by what they are fitted to: what they remember was not heard ahead of the rest.
        """
        sounds, keep = self.sounds, FOR_REFITS * BUDGET
        like = replace(like, low_cut=found[0].structure.low_cut)
        detectors = (replace(like, reads=reads, averaged=averaged) for reads, averaged in READINGS)
        bent = dict.fromkeys(one for detector in detectors for one in detector.bent_ones() if one.sound)
        starts = [(one, self.first) for one in bent]
        for effort, kept in ((CLOSER, 3), (SETTLE, 2)):
            calls = [(*start, sounds.search, sounds.held_out) for start in starts]
            fitted = self.fit(self.budget.affords(calls, effort, keep=keep), effort)
            best = sorted(fitted, key=lambda one: one.solution.score)[:kept]
            starts = [(one.structure, one.cell) for one in best]
        longer = self.heard(*(cell for _, cell in starts)) if starts else sounds
        calls = [(*start, longer.fit, longer.held_out) for start in starts]
        fitted = self.fit(self.budget.affords(calls, SETTLE, keep=keep), SETTLE)
        better = [one for one in fitted if one.held_out < BESIDES * found[0].held_out]
        if not better:
            return found
        self.sounds = longer
        return self.search([(one.structure, one.cell) for one in (*better, *found[:AGAIN])]) or found

    def _met(self, one: Fitted) -> bool:
        """Whether a structure meets the stage as far as noise, and a colour that tones show, let it."""
        if one.held_out < self.floor:
            return True
        colour, least = self.coloured(one.cell, places_beside(one.cell)), one.held_out
        if colour != NONE and least >= NEARLY * self.floor:
            raw = self.raw(one.cell, self.linear.late)
            whole = self.at_once(Whole(self.linear, colour, one), raw, WHOLE)
            least = whole.fitted.held_out if whole else least
        return colour != NONE and least < NEARLY * self.floor


def places_beside(cell: Cell) -> tuple[Place, ...]:
    """Where a colour may stand."""
    return ("behind", "before") if cell.loop == "feed-forward" else ("behind", "before", "in loop")
