"""The whole chain, fitted in the order the evidence supports: filter, gain, colour; the plainest there is."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from charprobe.profile.profile import Profile
from charprobe.replica.fitting.ahead import FOLLOW, ahead_of
from charprobe.replica.fitting.among_filters import CLOSE, around, shown_by
from charprobe.replica.fitting.cell_fit import Fitted
from charprobe.replica.fitting.filter_fit import Linear, fit_filter
from charprobe.replica.fitting.first_cell import first_cell, quiet_of
from charprobe.replica.fitting.found import Found, alike, error_of
from charprobe.replica.fitting.heard import Heard, Memory
from charprobe.replica.fitting.least_squares import Effort
from charprobe.replica.fitting.pair import Noise, Pair
from charprobe.replica.fitting.player import in_samples
from charprobe.replica.fitting.search import (
    ALIKE,
    AT_NOISE,
    BETTER,
    BUDGET,
    CLOSER,
    DETECTORS,
    FIRST,
    FIT,
    LOOK,
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
from charprobe.replica.fitting.stretches import Use, stretches_of
from charprobe.replica.fitting.structures import Structure, above, cell_of
from charprobe.replica.fitting.whole_fit import BARE, LAST, WHOLE, Whole, fit_whole
from charprobe.replica.fitting.without_cell import NONE, PLAINER, at_once, coloured, folding, plain_gain
from charprobe.replica.parts import Cell, Chain, Colour, Place, Smoothing

Told = Callable[[float], None]
TURNS = 2  # of cell and colour, each with the other as it is
BESIDE = Effort(10, 1e-4, spread=False)  # of a cell, for a colour to be fitted beside it
LATE_TOLD = 1e-4  # samples of delay that make no odds
LONGER = 1.1  # times the release that was thought: stretches are heard behind more of what was before
# shares of the budget kept for what may follow a search: all structures, longer memory or a filter, refits
FOR_ALL, FOR_FILTER, FOR_REFITS = 0.75, 0.4, 0.2
SIDED = 4  # structures that tell on which side of the cell a filter is
NEARLY = 2.0  # times the error with which a stage is met: sides of filters and colour are told
SPOILT = 2.0  # times the error of a cell alone: no colour leaves as much
BESIDES = 0.8  # of the error with all filters behind: what one ahead must leave
AGAIN = 8  # of the best structures that are looked at again, once a filter is known
KEPT = 2  # other structures that are fitted out


def fit_chain(pair: Pair, profile: Profile, *, noise: Noise, jobs: int, told: Told) -> Found:
    """Fit a chain to a sealed pair; see `Found`."""
    return _Work(pair, profile, noise, jobs, told).found()


class _Work:
    """One fit: what it hears now, and what it may still do."""

    def __init__(self, pair: Pair, profile: Profile, noise: Noise, jobs: int, told: Told) -> None:
        self._pair, self._noise, self._jobs, self._told = pair, noise, jobs, told
        self._first, self._budget = first_cell(profile), Budget(BUDGET)
        self._timed = any(profile.measured(f"{edge}.t63") for edge in ("attack", "release"))
        threshold_dbfs = _threshold(profile, self._first, pair)
        self._stretches = stretches_of(pair.wet, threshold_dbfs=threshold_dbfs)
        self._linear = fit_filter(pair, Cell())
        self._sounds = self._heard(self._first)
        self._floor = AT_NOISE * float(np.hypot(self._sounds.held_out.noise_score, 1.0))

    def found(self) -> Found:
        """The plainest chain that meets the stage."""
        rate_hz, fitted = self._pair.rate_hz, tuple[Fitted, ...]()
        self._told(0.05)
        whole, heard = self._bare()
        self._told(0.1)
        least, found, still = whole.fitted.held_out, list[Fitted](), whole.together and not self._timed
        if least > self._floor and not (still and at_once(whole.chain, heard, rate_hz)):
            found = self._searched()
        if found and found[0].held_out * PLAINER < least:
            del heard  # which is large
            colour, fitted = self._fitted(found if self._noise.told else self._listened(found))
            whole, heard = Whole(self._linear, colour, fitted[0]), self._sounds.held_out
        self._told(1.0)
        cell = in_samples(whole.fitted.cell, rate_hz=rate_hz)  # what looks ahead is not taken back
        chain = replace(whole.chain, cell=cell)
        known = chain if whole.together else Chain(cell=cell, colour=whole.colour)
        error, late = error_of(known, heard, rate_hz), whole.linear.late
        return Found(chain, late, self._noise, fitted, *error, self._budget.ended)

    def _bare(self) -> tuple[Whole, Heard]:
        """A gain, or a colour among filters where that meets all tones; and what it is judged by."""
        sounds, rate_hz = self._sounds, self._pair.rate_hz
        plain = plain_gain(self._linear, sounds, rate_hz)
        shown = shown_by(self._pair, self._linear, self._noise)
        told = around(shown) if shown and plain.fitted.held_out > self._floor else None
        if told is None or told.close > CLOSE:
            return plain, sounds.held_out
        raw = self._raw(Cell(smoothing=Smoothing(release_s=told.linear.remembered_s)), told.linear.late)
        near = Whole(told.linear, told.colour, replace(plain.fitted, cell=told.cell))
        near = replace(near, colour=folding(near.chain, raw.fit, rate_hz))
        whole = fit_whole(near, raw.fit, raw.held_out, rate_hz=rate_hz, effort=BARE, threads=self._jobs)
        better = whole.fitted.held_out < plain.fitted.held_out
        return (whole, raw.held_out) if better else (plain, sounds.held_out)

    def _heard(self, *cells: Cell, linear: Linear | None = None) -> Sounds:
        """All sounds behind as much as any cell remembers, without the filters known, or others."""
        linear = linear or self._linear
        return without_filter(self._read(linear.late, *cells), linear, replace(self._pair, late=linear.late))

    def _read(self, late: float, *cells: Cell) -> Sounds:
        """All sounds behind as much as any cell remembers, as they were captured."""
        memory, pair = Memory.of(*(cell.smoothing for cell in cells)), replace(self._pair, late=late)
        return sounds_of(pair, self._stretches, memory=memory, noise=self._noise)

    def _filter(self, cell: Cell) -> Linear:
        """The filters, the gain of a cell taken off the sweep, on the sides that are known."""
        return fit_filter(self._pair, cell).placed_as(self._linear)

    def _sides(self, cell: Cell, error: float) -> Iterator[tuple[Linear, Sounds]]:
        """The filters on other sides, and what is heard then; none where the stage is met as it is."""
        placements = list(self._linear.placements()) if error > self._floor else []
        sounds = self._read(self._linear.late, cell) if placements else self._sounds
        for linear in placements:
            yield linear, without_filter(sounds, linear, replace(self._pair, late=linear.late))

    def _sided(self, found: list[Fitted]) -> list[Fitted]:
        """Structures searched again where they meet the stage better with a filter ahead of them."""
        least, best = BESIDES * found[0].held_out, None
        for linear, sounds in self._sides(found[0].cell, found[0].held_out):
            calls = [(one.structure, one.cell, sounds.search, sounds.held_out) for one in found[:SIDED]]
            fitted = self._fit(self._budget.affords(calls, FOLLOW, keep=FOR_FILTER * BUDGET), FOLLOW)
            for one in fitted:
                if one.held_out < least:
                    least, best = one.held_out, (one.cell, linear, sounds)
        if best is None:
            return found
        cell, self._linear, self._sounds = best
        return self._search([(one.structure, cell) for one in found[:AGAIN]], FOR_REFITS) or found

    def _search(self, among: Sequence[Start], keep: float, colour: Colour = NONE) -> list[Fitted]:
        """Search structures, the best first; none where the budget is not enough for a look."""
        sounds = self._sounds.without_colour(colour)
        first = [(*among[0], sounds.search, sounds.held_out)]
        if not self._budget.affords(first, LOOK, keep=keep * BUDGET):
            return []
        found = search(
            among, sounds.search, sounds.held_out, rate_hz=self._pair.rate_hz, jobs=self._jobs,
            budget=self._budget, keep=keep * BUDGET, told=lambda share: self._told(0.1 + 0.6 * share),
        )  # fmt: skip
        return list(found)

    def _together(self, chosen: Fitted, cell: Cell, colour: Colour) -> Whole:
        """Cell and colour; where they do not meet the stage, fitted at once with the filters around them.

        Filters and colour are tried on other sides.
        """
        [one] = self._fit(self._calls([(chosen, cell)], colour), BESIDE)
        best = Whole(self._linear, colour, one)
        if best.fitted.held_out <= NEARLY * self._floor or not (colour.amplitude or any(self._linear.kinds)):
            return best
        raw = self._raw(cell, self._linear.late)

        def tried(near: Whole) -> Whole:
            """What comes of a start, where it is better than the best so far; else that."""
            whole = self._at_once(near, raw, WHOLE) if best.fitted.held_out > NEARLY * self._floor else None
            least = best.fitted.held_out * (BESIDES if best.together else 1.0)
            return whole if whole and whole.fitted.held_out < least else best

        if cell.lookahead_s:  # it may stand for a colour that was not known
            best = tried(replace(best, fitted=replace(one, cell=replace(one.cell, lookahead_s=0.0))))
        for linear in (self._linear, *self._linear.placements()):
            best = tried(replace(best, linear=linear))
        for place in _places(cell) if colour.amplitude else ():
            if place != colour.place:
                best = tried(replace(best, colour=replace(best.colour, place=place)))
        if best.fitted.held_out > SPOILT * chosen.held_out:  # the colour is none, or is not found
            [bare] = self._fit(self._calls([(chosen, chosen.cell)], NONE), BESIDE)
            best = min(best, Whole(self._linear, NONE, bare), key=lambda one: one.fitted.held_out)
        return best

    def _raw(self, cell: Cell, late: float) -> Sounds:
        """All sounds behind as much as a cell remembers, the sweep among them and no filter taken off."""
        pair, memory = replace(self._pair, late=late), Memory.of(cell.smoothing)
        uses: tuple[Use, ...] = ("search", "held out")
        sweeps = [replace(one, use=use) for one in self._stretches if one.use == "sweep" for use in uses]
        return sounds_of(pair, [*self._stretches, *sweeps], memory=memory, noise=self._noise)

    def _at_once(self, near: Whole, raw: Sounds, effort: Effort) -> Whole | None:
        """All numbers of a chain fitted to what was captured; None where the budget does not bear that."""
        heard = raw.fit if effort.spread else raw.search
        call = (near.fitted.structure, near.fitted.cell, heard, raw.held_out)
        if not self._budget.affords([call], effort):
            return None
        whole = fit_whole(
            near, heard, raw.held_out, rate_hz=self._pair.rate_hz, effort=effort, threads=self._jobs
        )
        self._budget.spend(whole.fitted)
        return whole

    def _searched(self) -> list[Fitted]:
        """Structures: the usual ones, then all, then bent ones."""
        quiet, bends = quiet_of(self._first), len(above(self._first))
        like = Structure(quiet=quiet, bends=bends, low_cut=1 if self._first.detector.low_cut_hz > 0 else 0)
        usual = (replace(one, quiet=quiet, bends=bends, low_cut=like.low_cut) for one in FIRST)
        found = self._looked(usual, [])
        if not self._met(found[0]):
            place = self._linear, self._sounds
            longer = self._longer(found, FOR_ALL)
            if longer is not found and self._met(longer[0]):
                return longer
            self._linear, self._sounds = place
            # neighbours of the two usual detectors, and of the two that came out best where they are others
            best = dict.fromkeys((one.structure.reads, one.structure.averaged) for one in found)
            detectors = dict.fromkeys((*READINGS[1:3], *list(best)[:DETECTORS]))
            found = self._looked(all_of(like, list(detectors)), found)
            if not self._met(found[0]):
                found = self._bent(like, found)
        return self._longer(found, FOR_REFITS)

    def _looked(self, field: Iterable[Structure], found: list[Fitted]) -> list[Fitted]:
        """A field of structures searched, the best of those that are known among them."""
        starts = {one: self._first for one in field if one.sound}
        starts |= {one.structure: one.cell for one in found[:AGAIN]}
        return self._sided(self._search(list(starts.items()), FOR_FILTER) or found)

    def _listened(self, found: list[Fitted]) -> list[Fitted]:
        """Structures searched again with noise behind the stage alone, where the best meets it better so."""
        noise, sounds, best = self._noise, self._sounds, found[0]
        self._noise = replace(noise, heard=0.0)
        self._sounds = self._heard(best.cell)
        call = best.structure, best.cell, self._sounds.search, self._sounds.held_out
        if self._fit([call], CLOSER)[0].held_out < BETTER * best.held_out:
            return self._search([(one.structure, one.cell) for one in found[:AGAIN]], FOR_REFITS) or found
        self._noise, self._sounds = noise, sounds
        return found

    def _longer(self, found: list[Fitted], keep: float) -> list[Fitted]:
        """Structures searched again behind longer memory, where what meets the stage best asks for it."""
        more = unheard(found, self._sounds.memory) if found[0].held_out >= self._floor else []
        if not more:
            return found
        begun = (cell_of(one.structure, self._first) for one in more)
        self._sounds = self._heard(*begun, *(one.cell for one in more))
        again = dict.fromkeys((one.structure, one.cell) for one in (*found[:AGAIN], *more))
        return self._sided(self._search(list(again), keep) or found)

    def _bent(self, like: Structure, found: list[Fitted]) -> list[Fitted]:
        """Structures whose times are none, searched beside the best where one meets the stage better.

        First they are told by what they are fitted to: what they remember was not heard ahead of the rest.
        """
        sounds, keep = self._sounds, FOR_REFITS * BUDGET
        like = replace(like, low_cut=found[0].structure.low_cut)
        detectors = (replace(like, reads=reads, averaged=averaged) for reads, averaged in READINGS)
        bent = dict.fromkeys(one for detector in detectors for one in detector.bent_ones() if one.sound)
        starts = [(one, self._first) for one in bent]
        for effort, kept in ((CLOSER, 3), (SETTLE, 2)):
            calls = [(*start, sounds.search, sounds.held_out) for start in starts]
            fitted = self._fit(self._budget.affords(calls, effort, keep=keep), effort)
            best = sorted(fitted, key=lambda one: one.solution.score)[:kept]
            starts = [(one.structure, one.cell) for one in best]
        longer = self._heard(*(cell for _, cell in starts)) if starts else sounds
        calls = [(*start, longer.fit, longer.held_out) for start in starts]
        fitted = self._fit(self._budget.affords(calls, SETTLE, keep=keep), SETTLE)
        better = [one for one in fitted if one.held_out < BESIDES * found[0].held_out]
        if not better:
            return found
        self._sounds = longer
        starts = [(one.structure, one.cell) for one in (*better, *found[:AGAIN])]
        return self._search(starts, FOR_REFITS) or found

    def _met(self, one: Fitted) -> bool:
        """Whether a structure meets the stage as far as noise, and a colour that tones show, let it."""
        if one.held_out < self._floor:
            return True
        colour, whole = self._coloured(one.cell, _places(one.cell)), None
        if colour != NONE and one.held_out >= NEARLY * self._floor:
            raw = self._raw(one.cell, self._linear.late)
            whole = self._at_once(Whole(self._linear, colour, one), raw, WHOLE)
        return colour != NONE and (whole.fitted if whole else one).held_out < NEARLY * self._floor

    def _fitted(self, found: list[Fitted]) -> tuple[Colour, tuple[Fitted, ...]]:
        """The colour of the chosen cell, that cell fitted out, and others that are as good."""
        chosen = self._ahead(_plainest(found, self._floor))
        before, self._linear = self._linear, self._filter(chosen.cell)
        if (
            any(self._linear.kinds)
            or any(before.kinds)
            or abs(self._linear.late - before.late) > LATE_TOLD
            or Memory.of(chosen.cell.smoothing).release_s > LONGER * self._sounds.memory.release_s
        ):
            self._sounds = self._heard(chosen.cell)
        else:
            self._linear = before
        if self._linear.kinds != before.kinds:
            found = self._search([(one.structure, chosen.cell) for one in found[:AGAIN]], FOR_REFITS) or found
            chosen = self._ahead(_plainest(found, self._floor))
            self._linear = self._filter(chosen.cell)
            self._sounds = self._heard(chosen.cell)
        cell, colour = chosen.cell, NONE
        for turn in range(TURNS):
            places = (colour.place,) if colour.amplitude else _places(cell)
            shown = self._coloured(cell, places)
            self._told(0.72 + 0.1 * turn)
            whole = self._together(chosen, cell, shown if shown.amplitude else colour)
            cell, colour = whole.fitted.cell, whole.colour
            if whole.linear != self._linear:
                self._linear, self._sounds = whole.linear, self._heard(cell, linear=whole.linear)
            met = whole.fitted.held_out <= NEARLY * self._floor
            if turn or met or not shown.amplitude or colour.place == "in loop":
                break
            again = self._search([(one.structure, cell) for one in found[:AGAIN]], FOR_REFITS, colour)
            # a steep curve may not be taken off what it made
            if not again or again[0].held_out >= whole.fitted.held_out:
                break
            found, chosen = again, _plainest(again, self._floor)
            cell = chosen.cell
        starts = [(chosen, cell), *((one, one.cell) for one in _others(found, chosen, self._floor))]
        last = None
        if whole.together:
            self._sounds = self._raw(cell, self._linear.late)  # a fit of all numbers takes room enough
            last = self._at_once(whole, self._sounds, LAST)
            whole = last or whole
            self._linear, colour, cell = whole.linear, whole.colour, whole.fitted.cell
            self._sounds = self._heard(cell)
        calls = self._calls(starts, colour)
        fitted = [last.fitted] if last else self._fit(calls[:1], FIT)
        fitted += self._fit(self._budget.affords(calls[1:], FIT), FIT)
        return colour, alike(fitted)

    def _coloured(self, cell: Cell, places: Sequence[Place]) -> Colour:
        among = Chain(self._linear.ahead, cell, NONE, self._linear.sections)
        return coloured(among, places, self._sounds, self._pair.rate_hz)

    def _ahead(self, chosen: Fitted) -> Fitted:
        """The structure with the look-ahead that suits it best, where the profile tells of one."""
        if round(chosen.cell.lookahead_s * self._pair.rate_hz) == 0:
            return chosen
        heard, held_out = self._sounds.search, self._sounds.held_out

        def fit(cell: Cell) -> Fitted:
            return self._fit([(chosen.structure, cell, heard, held_out)], FOLLOW)[0]

        return ahead_of(chosen, fit, rate_hz=self._pair.rate_hz)

    def _calls(self, starts: Sequence[tuple[Fitted, Cell]], colour: Colour) -> list[Call]:
        """Structures to fit to all that is heard, each from a cell, the colour as it is."""
        sounds = self._sounds.without_colour(colour)
        return [(one.structure, like, sounds.fit, sounds.held_out) for one, like in starts]

    def _fit(self, calls: Sequence[Call], effort: Effort) -> list[Fitted]:
        fitted = list(fit_side_by_side(calls, rate_hz=self._pair.rate_hz, effort=effort, jobs=self._jobs))
        for one in fitted:
            self._budget.spend(one)
        return fitted


def _threshold(profile: Profile, first: Cell, pair: Pair) -> float:
    """The threshold on the axis of the stimulus, minus infinity where it was not measured."""
    known = above(first) and any(
        profile.measured(f"static.{name}") for name in ("threshold", "threshold_1db")
    )
    return first.bends[0].threshold_dbfs - pair.dry.alignment.gain_db if known else -np.inf


def _places(cell: Cell) -> tuple[Place, ...]:
    return ("behind", "before") if cell.loop == "feed-forward" else ("behind", "before", "in loop")


def _plainest(found: Sequence[Fitted], floor: float) -> Fitted:
    """Of those that explain the stage as well as the best, the one with the fewest numbers."""
    best = found[0].held_out
    enough = max(ALIKE * best, min(AT_NOISE * best, floor))
    alike = [one for one in found if one.held_out <= enough]
    return min(alike, key=lambda one: (len(one.knobs), one.held_out))


def _others(found: Sequence[Fitted], chosen: Fitted, floor: float) -> list[Fitted]:
    """Structures that explain the stage as well; not those that are the chosen one and more."""
    enough = max(ALIKE * chosen.held_out, floor)
    return [
        one
        for one in found
        if one.held_out <= enough
        and one.structure != chosen.structure
        and chosen.structure not in one.structure.less()
    ][:KEPT]
