"""The whole chain, fitted in the order the evidence supports: filter, gain, colour; the plainest there is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import oaconvolve

from charprobe.profile.profile import Profile
from charprobe.replica.colour import shaped, table_of, unshaped
from charprobe.replica.filters import taps
from charprobe.replica.fitting.colour_fit import fit_colour, harmonics, through
from charprobe.replica.fitting.filter_fit import Linear, alike, fit_filter
from charprobe.replica.fitting.heard import DEEPEST, Heard, Memory, hear
from charprobe.replica.fitting.least_squares import Effort, Knob, solve
from charprobe.replica.fitting.pair import Noise, Pair
from charprobe.replica.fitting.search import ALIKE, AT_NOISE, FIRST, FIT, Fitted, fit_side_by_side, search
from charprobe.replica.fitting.stretches import Stretch, stretches_of
from charprobe.replica.fitting.structures import Structure, first_cell
from charprobe.replica.parts import Cell, Chain, Colour, Place, Section
from charprobe.values.arrays import Array
from charprobe.values.errors import ReplicaError

Told = Callable[[float], None]
NONE = Colour()
WORTH = 0.8  # of the error without: what a colour must bring
PLAINER = 1.25  # times the error of the fuller model: then the plainer one is taken
TURNS = 2  # of cell and colour, each with the other as it is
COLOUR = Effort(6, 0.005, spread=False)
HEARD = 1.3  # times what noise leaves of harmonics: less is no colour
LATE_TOLD = 1e-4  # samples of delay that make no odds
LONGER = 1.1  # times the release that was thought: stretches are heard behind more of what was before
AGAIN = 8  # of the best structures that are looked at again, once a filter is known
KEPT = 2  # other structures that are fitted out


@dataclass(frozen=True)
class Found:
    """A chain and how it is known.

    Attributes
    ----------
    chain : Chain
        Without polarity and latency.
    kind : str
        "gain", "colour", "cell" or "cell and colour": what it is made of.
    late : float
        Samples by which the capture lies later than its markers say.
    places, logarithmic, covariance
        Of the fitted numbers, as `Posterior` holds them.
    score, lack : float
        Weighted error where the fit heard, 0 without a cell; how many times as great it is elsewhere: as much
        as that, the model lacks something.
    equally_good : tuple of str
        Other structures that explain the stage as well.
    structure : str
        The structure in words, "" for a gain.
    error_db : float
        Error over sound on stretches the fit did not hear.
    worst : str
        The segment with the greatest error among these.
    """

    chain: Chain
    kind: str
    late: float
    places: tuple[str, ...]
    logarithmic: tuple[bool, ...]
    covariance: Array
    score: float
    lack: float
    equally_good: tuple[str, ...]
    structure: str
    error_db: float
    worst: str


@dataclass(frozen=True)
class _Sounds:
    """What each step hears, filters taken off, and the stretches held out by name."""

    search: Heard
    fit: Heard
    held_out: Heard
    colour: Heard | None
    colour_held_out: Heard | None
    names: Sequence[Stretch]


def fit_chain(pair: Pair, profile: Profile, *, noise: Noise, jobs: int, told: Told) -> Found:
    """Fit a chain to a sealed pair; see `Found`."""
    first, linear = first_cell(profile), fit_filter(pair, Cell())
    stretches = stretches_of(pair.wet, threshold_dbfs=_threshold(profile, first, pair))

    def hear_all(cell: Cell, linear: Linear) -> _Sounds:
        sounds = _sounds(replace(pair, late=linear.late), stretches, Memory.of(cell.smoothing), noise)
        return _without_filter(sounds, linear.sections, pair.rate_hz)

    def searched(cell: Cell, sounds: _Sounds, among: Sequence[Structure] = FIRST) -> list[Fitted]:
        def shared(share: float) -> None:
            told(0.1 + 0.6 * share)

        return list(
            search(
                cell,
                sounds.search,
                sounds.held_out,
                among=among,
                rate_hz=pair.rate_hz,
                jobs=jobs,
                told=shared,
            )
        )

    sounds = hear_all(first, linear)
    floor = AT_NOISE * float(np.hypot(sounds.held_out.noise_score, 1.0))
    told(0.05)
    bare = _makeup_only(sounds.fit)
    plain = _score(bare, NONE, sounds.held_out, pair.rate_hz)
    found, kind = [], "gain"
    rest = Cell(makeup_db=first.makeup_db)  # a curve is as steep as the gain at rest where it is not bent
    colour = _coloured(rest, ("behind",), sounds, pair.rate_hz)
    told(0.1)
    if colour.amplitude:
        bare, kind = _makeup_ahead(rest, colour, sounds.fit, pair.rate_hz), "colour"
    plain = min(plain, _score(bare, colour, sounds.held_out, pair.rate_hz))
    if plain > floor:
        found = searched(first, sounds)
        if found[0].held_out * PLAINER < plain:
            kind = "cell"
    if kind in ("gain", "colour"):
        return _finished(bare, colour, kind, [], sounds, linear, pair, told)
    chosen = _plainest(found, floor)
    linear, before = fit_filter(pair, chosen.cell), linear
    if (
        linear.sections
        or before.sections
        or abs(linear.late - before.late) > LATE_TOLD
        or (Memory.of(chosen.cell.smoothing).release_s > LONGER * Memory.of(first.smoothing).release_s)
    ):
        sounds = hear_all(chosen.cell, linear)
    else:
        linear = before
    if not alike(linear, before):
        found = searched(chosen.cell, sounds, [one.structure for one in found[:AGAIN]])
        chosen = _plainest(found, floor)
        linear = fit_filter(pair, chosen.cell)
        sounds = hear_all(chosen.cell, linear)
    cell = chosen.cell
    colour = NONE
    for turn in range(TURNS):
        places = (colour.place,) if colour.amplitude else _places(cell)
        best = _coloured(cell, places, sounds, pair.rate_hz)
        told(0.72 + 0.1 * turn)
        if not best.amplitude:
            break
        colour, kind = best, "cell and colour"
        [again] = _refit([(chosen, cell)], colour, sounds, pair.rate_hz, jobs)
        cell = again.cell
    starts = [(chosen, cell), *((one, one.cell) for one in _others(found, chosen, floor))]
    fitted = _refit(starts, colour, sounds, pair.rate_hz, jobs)
    told(0.95)
    return _finished(fitted[0].cell, colour, kind, fitted, sounds, linear, pair, told)


def _threshold(profile: Profile, first: Cell, pair: Pair) -> float:
    """The threshold on the axis of the stimulus, minus infinity where it was not measured."""
    known = any(profile.measured(f"static.{name}") for name in ("threshold", "threshold_1db"))
    return first.bends[0].threshold_dbfs - pair.dry.alignment.gain_db if known else -np.inf


def _places(cell: Cell) -> tuple[Place, ...]:
    return ("behind", "before") if cell.loop == "feed-forward" else ("behind", "before", "in loop")


def _sounds(pair: Pair, stretches: Sequence[Stretch], memory: Memory, noise: Noise) -> _Sounds:
    def of(*uses: str, finest: float | None = None) -> Heard | None:
        some = [stretch for stretch in stretches if stretch.use in uses]
        if not some:
            return None
        if finest is None:
            return hear(pair, some, memory=memory, noise=noise)
        return hear(pair, some, memory=memory, noise=noise, finest=finest)

    search_ = of("search") or of("fit")
    if search_ is None:
        raise ReplicaError(
            f"{pair.wet.label}: no intact level steps, bursts or tones to fit a model to; capture `quick`, "
            "`standard` or `full`, or mend what the capture's findings name"
        )
    held_out = of("held out") or of("fit") or search_
    return _Sounds(
        search_,
        of("search", "fit") or search_,
        held_out,
        of("colour", finest=DEEPEST),
        of("colour held out", finest=DEEPEST),
        [stretch for stretch in stretches if stretch.use == "held out"],
    )


def _without_filter(sounds: _Sounds, sections: tuple[Section, ...], rate_hz: int) -> _Sounds:
    """Take the filter behind the stage off the captured sound."""
    if not sections:
        return sounds

    def off(heard: Heard | None) -> Heard | None:
        if heard is None:
            return None
        kernel, before = taps(sections, rate_hz=float(rate_hz), backwards=True)
        wet = oaconvolve(heard.wet, kernel)[before : before + heard.wet.size]
        return heard.with_sound(dry=heard.dry, wet=np.asarray(wet))

    search_, fit, held_out = off(sounds.search), off(sounds.fit), off(sounds.held_out)
    assert search_ is not None and fit is not None and held_out is not None
    return _Sounds(search_, fit, held_out, off(sounds.colour), off(sounds.colour_held_out), sounds.names)


def _makeup_only(heard: Heard) -> Cell:
    dry, weight = heard.seen(heard.dry[heard.used]), heard.weight
    ratio = float(np.sum(dry * heard.target * weight**2) / max(np.sum((dry * weight) ** 2), 1e-30))
    return Cell(makeup_db=float(np.clip(20 * np.log10(max(abs(ratio), 1e-4)), -79, 79)))


def _makeup_ahead(cell: Cell, colour: Colour, heard: Heard, rate_hz: int) -> Cell:
    """The cell with the make-up that meets the sound best ahead of a colour."""

    def predict(rows: Array) -> Array:
        return np.stack([through(Cell(makeup_db=row[0]), colour, heard, rate_hz) for row in rows])

    knob = Knob(("cell.makeup_db",), -79, 79, step=0.01)
    start = np.array([cell.makeup_db])
    found = solve(predict, heard.target, heard.weight, heard.block, (knob,), start, effort=COLOUR)
    return Cell(makeup_db=float(found.values[0]))


def _score(cell: Cell, colour: Colour, heard: Heard, rate_hz: int) -> float:
    made = through(cell, colour, heard, rate_hz)
    return float(np.sqrt(np.mean(((heard.target - made) * heard.weight) ** 2)))


def _harmonic_score(cell: Cell, colour: Colour, heard: Heard, rate_hz: int) -> float:
    made = through(cell, colour, heard, rate_hz)
    left = harmonics(heard, heard.target - made, rate_hz)
    return float(np.sqrt(np.mean((left * heard.weight) ** 2)))


def _coloured(cell: Cell, places: Sequence[Place], sounds: _Sounds, rate_hz: int) -> Colour:
    """The colour that tones held out speak for, none where it brings too little."""
    heard, judge = sounds.colour, sounds.colour_held_out
    if heard is None or judge is None:
        return NONE
    bare = _harmonic_score(cell, NONE, judge, rate_hz)
    if bare < HEARD * max(judge.noise_score, 1.0):
        return NONE
    best, least = NONE, WORTH * bare
    for place in places:
        one = fit_colour(cell, place, heard, rate_hz=rate_hz, effort=COLOUR).colour
        score = _harmonic_score(cell, one, judge, rate_hz)
        if score < least:
            best, least = one, score
    return best


def _bent(heard: Heard, colour: Colour) -> Heard:
    """Take the colour off: behind the cell from the output, ahead of it onto the input."""
    if not colour.amplitude or colour.place == "in loop":
        return heard
    table = table_of(colour)
    if colour.place == "before":
        return heard.with_sound(dry=shaped(heard.dry, table, oversampled=colour.oversampled), wet=heard.wet)
    return heard.with_sound(dry=heard.dry, wet=unshaped(heard.wet, table, oversampled=colour.oversampled))


def _refit(
    starts: Sequence[tuple[Fitted, Cell]], colour: Colour, sounds: _Sounds, rate_hz: int, jobs: int
) -> list[Fitted]:
    """Fit structures to all that is heard, each from a cell, the colour as it is."""
    heard, held_out = _bent(sounds.fit, colour), _bent(sounds.held_out, colour)
    calls = [(one.structure, like, heard, held_out) for one, like in starts]
    return list(fit_side_by_side(calls, rate_hz=rate_hz, effort=FIT, jobs=jobs))


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
        if one.held_out <= enough and one is not chosen and chosen.structure not in one.structure.less()
    ][:KEPT]


def _finished(
    cell: Cell, colour: Colour, kind: str, fitted: list[Fitted], sounds: _Sounds, linear: Linear, pair: Pair,
    told: Told,
) -> Found:  # fmt: skip
    rate_hz = pair.rate_hz
    places: list[str] = []
    logarithmic: list[bool] = []
    covariance = np.zeros((0, 0))
    structure, score, lack = "", 0.0, 1.0
    equally_good: tuple[str, ...] = ()
    if fitted:
        best = fitted[0]
        as_good = [one for one in fitted[1:] if one.held_out <= max(ALIKE * best.held_out, 1.0)]
        columns = [column for column, knob in enumerate(best.knobs) for _ in knob.places]
        places = [place for knob in best.knobs for place in knob.places]
        logarithmic = [best.knobs[column].logarithmic for column in columns]
        whole = best.solution.covariance + np.diag(_spread(best, as_good) ** 2)
        covariance = whole[np.ix_(columns, columns)]
        structure, score = best.structure.in_words(), best.solution.score
        lack = best.held_out / max(score, 1e-9)
        equally_good = tuple(one.structure.in_words() for one in as_good)
    error_db, worst = _error(cell, colour, sounds, rate_hz)
    chain = Chain(cell=cell, colour=colour, filter_out=linear.sections)
    told(1.0)
    return Found(
        chain,
        kind,
        linear.late,
        tuple(places),
        tuple(logarithmic),
        covariance,
        score,
        lack,
        equally_good,
        structure,
        error_db,
        worst,
    )


def _spread(best: Fitted, alike: Sequence[Fitted]) -> Array:
    """How far each number lies from that of structures that explain the stage as well."""
    found = np.zeros(len(best.knobs))
    for one in alike:
        values = {knob.places[0]: value for knob, value in zip(one.knobs, one.solution.values, strict=True)}
        for i, knob in enumerate(best.knobs):
            if knob.places[0] in values and one.structure.loop == best.structure.loop:
                found[i] = max(found[i], abs(values[knob.places[0]] - best.solution.values[i]) / 2)
    return found


def _error(cell: Cell, colour: Colour, sounds: _Sounds, rate_hz: int) -> tuple[float, str]:
    """Error over sound in dB where the fit did not hear, and the segment where it is greatest."""
    heard = sounds.held_out
    error = heard.target - through(cell, colour, heard, rate_hz)
    relative = (error / (heard.level + 1e-12)) ** 2
    whole = float(10 * np.log10(np.mean(error**2) / max(float(np.mean(heard.target**2)), 1e-30) + 1e-15))
    edges = np.flatnonzero(np.diff(heard.used, prepend=heard.used[:1] - 2) > 1)
    means = [float(np.mean(part)) for part in np.split(relative, edges[1:])]
    names = [stretch.name for stretch in sounds.names]
    worst = int(np.argmax(means))
    return whole, names[worst] if worst < len(names) else ""
