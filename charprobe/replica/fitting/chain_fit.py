"""The whole chain: a structure that was found, and the colour and filters around it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from charprobe.profile.profile import Profile
from charprobe.replica.fitting.ahead import FOLLOW, ahead_of
from charprobe.replica.fitting.among_filters import CLOSE, around, shown_by
from charprobe.replica.fitting.cell_fit import Fitted
from charprobe.replica.fitting.filter_fit import Linear, fit_filter
from charprobe.replica.fitting.found import Found, error_of
from charprobe.replica.fitting.heard import Heard, Memory
from charprobe.replica.fitting.least_squares import Effort
from charprobe.replica.fitting.pair import Noise, Pair
from charprobe.replica.fitting.player import in_samples
from charprobe.replica.fitting.search import ALIKE, AT_NOISE, FIT, Call
from charprobe.replica.fitting.which_structure import AGAIN, BESIDES, NEARLY, Told, Work, places_beside
from charprobe.replica.fitting.whole_fit import BARE, LAST, WHOLE, Whole, fit_whole
from charprobe.replica.fitting.without_cell import NONE, PLAINER, at_once, folding, plain_gain
from charprobe.replica.parts import Cell, Chain, Colour, Smoothing

TURNS = 2  # of cell and colour, each with the other as it is
BESIDE = Effort(10, 1e-4, spread=False)  # of a cell, for a colour to be fitted beside it
LATE_TOLD = 1e-4  # samples of delay that make no odds
LONGER = 1.1  # times the release that was thought: stretches are heard behind more of what was before
SPOILT = 2.0  # times the error of a cell alone: no colour leaves as much
KEPT = 2  # other structures that are fitted out


def fit_chain(pair: Pair, profile: Profile, *, noise: Noise, jobs: int, told: Told) -> Found:
    """Fit the plainest chain that meets the stage to a sealed pair; see `Found`."""
    work, rate_hz, fitted = Work(pair, profile, noise, jobs, told), pair.rate_hz, tuple[Fitted, ...]()
    told(0.05)
    whole, heard = _bare(work)
    told(0.1)
    timed = any(profile.measured(f"{edge}.t63") for edge in ("attack", "release"))
    least, found, still = whole.fitted.held_out, list[Fitted](), whole.together and not timed
    if least > work.floor and not (still and at_once(whole.chain, heard, rate_hz)):
        found = work.searched()
    if found and found[0].held_out * PLAINER < least:
        del heard  # which is large
        colour, fitted = _fitted(work, found if noise.told else work.listened(found))
        whole, heard = Whole(work.linear, colour, fitted[0]), work.sounds.held_out
    told(1.0)
    cell = in_samples(whole.fitted.cell, rate_hz=rate_hz)  # what looks ahead is not taken back
    chain = replace(whole.chain, cell=cell)
    known = chain if whole.together else Chain(cell=cell, colour=whole.colour)
    error = error_of(known, heard, rate_hz)
    return Found(chain, whole.linear.late, work.noise, fitted, *error, work.budget.ended)


def _bare(work: Work) -> tuple[Whole, Heard]:
    """A gain, or a colour among filters where that meets all tones; and what it is judged by."""
    sounds, rate_hz = work.sounds, work.pair.rate_hz
    plain = plain_gain(work.linear, sounds, rate_hz)
    shown = shown_by(work.pair, work.linear, work.noise)
    told = around(shown) if shown and plain.fitted.held_out > work.floor else None
    if told is None or told.close > CLOSE:
        return plain, sounds.held_out
    raw = work.raw(Cell(smoothing=Smoothing(release_s=told.linear.remembered_s)), told.linear.late)
    near = Whole(told.linear, told.colour, replace(plain.fitted, cell=told.cell))
    near = replace(near, colour=folding(near.chain, raw.fit, rate_hz))
    whole = fit_whole(near, raw.fit, raw.held_out, rate_hz=rate_hz, effort=BARE, threads=work.jobs)
    better = whole.fitted.held_out < plain.fitted.held_out
    return (whole, raw.held_out) if better else (plain, sounds.held_out)


def _fitted(work: Work, found: list[Fitted]) -> tuple[Colour, tuple[Fitted, ...]]:
    """The colour of the chosen cell, that cell fitted out, and others that are as good."""
    chosen = _chosen(work, found)
    before, work.linear = work.linear, _filter(work, chosen.cell)
    if (
        any(work.linear.kinds)
        or any(before.kinds)
        or abs(work.linear.late - before.late) > LATE_TOLD
        or Memory.of(chosen.cell.smoothing).release_s > LONGER * work.sounds.memory.release_s
    ):
        work.sounds = work.heard(chosen.cell)
    else:
        work.linear = before
    if work.linear.kinds != before.kinds:
        found = work.search([(one.structure, chosen.cell) for one in found[:AGAIN]]) or found
        chosen = _chosen(work, found)
        work.linear = _filter(work, chosen.cell)
        work.sounds = work.heard(chosen.cell)
    cell, colour = chosen.cell, NONE
    for turn in range(TURNS):
        shown = work.coloured(cell, (colour.place,) if colour.amplitude else places_beside(cell))
        work.told(0.72 + 0.1 * turn)
        whole = _together(work, chosen, cell, shown if shown.amplitude else colour)
        cell, colour = whole.fitted.cell, whole.colour
        if whole.linear != work.linear:
            work.linear = whole.linear
            work.sounds = work.heard(cell)
        met = whole.fitted.held_out <= NEARLY * work.floor
        if turn or met or not shown.amplitude or colour.place == "in loop":
            break
        again = work.search([(one.structure, cell) for one in found[:AGAIN]], colour=colour)
        # a steep curve may not be taken off what it made
        if not again or again[0].held_out >= whole.fitted.held_out:
            break
        found, chosen = again, _plainest(again, work.floor)
        cell = chosen.cell
    starts = [(chosen, cell), *((one, one.cell) for one in _others(found, chosen, work.floor))]
    last = None
    if whole.together:
        work.sounds = work.raw(cell, work.linear.late)  # a fit of all numbers takes room enough
        last = work.at_once(whole, work.sounds, LAST)
        whole = last or whole
        work.linear, colour, cell = whole.linear, whole.colour, whole.fitted.cell
        work.sounds = work.heard(cell)
    calls = _calls(work, starts, colour)
    fitted = [last.fitted] if last else work.fit(calls[:1], FIT)
    fitted += work.fit(work.budget.affords(calls[1:], FIT), FIT)
    enough = max(ALIKE * fitted[0].held_out, 1.0)
    return colour, tuple(one for one in fitted if one.held_out <= enough or one is fitted[0])


def _filter(work: Work, cell: Cell) -> Linear:
    """The filters, the gain of a cell taken off the sweep, on the sides that are known."""
    return fit_filter(work.pair, cell).placed_as(work.linear)


def _together(work: Work, chosen: Fitted, cell: Cell, colour: Colour) -> Whole:
    """Cell and colour; where they do not meet the stage, fitted at once with the filters around them.

    Filters and colour are tried on other sides.
    """
    [one] = work.fit(_calls(work, [(chosen, cell)], colour), BESIDE)
    best = Whole(work.linear, colour, one)
    if best.fitted.held_out <= NEARLY * work.floor or not (colour.amplitude or any(work.linear.kinds)):
        return best
    raw = work.raw(cell, work.linear.late)

    def tried(near: Whole) -> Whole:
        """What comes of a start, where it is better than the best so far; else that."""
        whole = work.at_once(near, raw, WHOLE) if best.fitted.held_out > NEARLY * work.floor else None
        least = best.fitted.held_out * (BESIDES if best.together else 1.0)
        return whole if whole and whole.fitted.held_out < least else best

    if cell.lookahead_s:  # it may stand for a colour that was not known
        best = tried(replace(best, fitted=replace(one, cell=replace(one.cell, lookahead_s=0.0))))
    for linear in (work.linear, *work.linear.placements()):
        best = tried(replace(best, linear=linear))
    for place in places_beside(cell) if colour.amplitude else ():
        if place != colour.place:
            best = tried(replace(best, colour=replace(best.colour, place=place)))
    if best.fitted.held_out > SPOILT * chosen.held_out:  # the colour is none, or is not found
        [bare] = work.fit(_calls(work, [(chosen, chosen.cell)], NONE), BESIDE)
        best = min(best, Whole(work.linear, NONE, bare), key=lambda one: one.fitted.held_out)
    return best


def _chosen(work: Work, found: Sequence[Fitted]) -> Fitted:
    """The plainest, with the look-ahead that suits it best where the profile tells of one."""
    chosen = _plainest(found, work.floor)
    if round(chosen.cell.lookahead_s * work.pair.rate_hz) == 0:
        return chosen
    sounds = work.sounds

    def fit(cell: Cell) -> Fitted:
        return work.fit([(chosen.structure, cell, sounds.search, sounds.held_out)], FOLLOW)[0]

    return ahead_of(chosen, fit, rate_hz=work.pair.rate_hz)


def _calls(work: Work, starts: Sequence[tuple[Fitted, Cell]], colour: Colour) -> list[Call]:
    """Structures to fit to all that is heard, each from a cell, the colour as it is."""
    sounds = work.sounds.without_colour(colour)
    return [(one.structure, like, sounds.fit, sounds.held_out) for one, like in starts]


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
