"""Filter sections that the quiet sweep shows between bypass and capture."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from charprobe.placing.take import held
from charprobe.replica.cell import gain_db
from charprobe.replica.filters import response
from charprobe.replica.fitting.heard import LONGEST_S
from charprobe.replica.fitting.least_squares import Knob
from charprobe.replica.fitting.pair import Pair
from charprobe.replica.parts import Cell, Section, SectionKind
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.values.arrays import Array, Complex

POINTS, LOWEST_HZ, HIGHEST_HZ = 240, 15.0, 20_000.0
FLAT_DB = 0.02  # root mean square over the band: less is no filter
BETTER = 0.6  # of the error before: what a further section must bring
ALIKE = 1.1  # times the least error: the plainest of those, which come first
MOST = 3
CLOSER = 1e-4  # of the squares: a step that brings less is the last
SPLIT_HZ = 1000.0  # a shelf of the treble above, of the bass below: with a gain each can be the other
_CANDIDATES: tuple[tuple[SectionKind, int, float, float], ...] = (  # kind, order, first corner, first gain
    ("low cut", 1, 20.0, 0.0), ("high cut", 1, 20_000.0, 0.0),
    ("low cut", 2, 20.0, 0.0), ("high cut", 2, 20_000.0, 0.0),
    ("high shelf", 1, 5000.0, 1.0), ("low shelf", 1, 150.0, 1.0),
    ("high shelf", 2, 5000.0, 1.0), ("low shelf", 2, 150.0, 1.0), ("bell", 1, 1000.0, 1.0),
)  # fmt: skip
TREBLE = ("high shelf", "high cut")  # which tell an analogue filter from a digital one
_DB = 20 / np.log(10)


@dataclass(frozen=True)
class Linear:
    """What a sweep shows: sections behind the stage and ahead of it, and the samples that it lies late.

    A sweep does not tell on which side they are: `fit_filter` has all of them behind.
    """

    sections: tuple[Section, ...] = ()
    late: float = 0.0
    error_db: float = 0.0
    ahead: tuple[Section, ...] = ()

    @property
    def kinds(self) -> list[list[tuple[str, int]]]:
        """Kinds and orders on either side."""
        return [[(one.kind, one.order) for one in side] for side in (self.ahead, self.sections)]

    @property
    def remembered_s(self) -> float:
        """Time constant of the slowest of its sections, roughly."""
        return max((1 / (2 * np.pi * one.slowest_hz) for one in (*self.ahead, *self.sections)), default=0.0)

    def placements(self) -> Iterator[Linear]:
        """The same with all sections behind, with all ahead, or with one of them; not as they are."""
        whole = replace(self, sections=(*self.ahead, *self.sections), ahead=())
        every = set(range(len(whole.sections)))
        for ahead in (set[int](), every, *({i} for i in every if len(every) > 1)):
            placed = whole._with_ahead(ahead)
            if placed.kinds != self.kinds:
                yield placed

    def placed_as(self, other: Linear) -> Linear:
        """The same with those sections ahead that are of the kinds another has ahead."""
        kinds = other.kinds[0]
        return self._with_ahead({i for i, one in enumerate(self.sections) if (one.kind, one.order) in kinds})

    def _with_ahead(self, places: set[int]) -> Linear:
        ahead = tuple(one for i, one in enumerate(self.sections) if i in places)
        return replace(self, sections=tuple(one for one in self.sections if one not in ahead), ahead=ahead)


def fit_filter(pair: Pair, cell: Cell) -> Linear:
    """Fit sections to the quietest sweep; none where the response is flat, or there is no sweep."""
    shown = swept(pair, cell)
    if shown is None:
        return Linear()
    rate_hz = pair.rate_hz

    def tried(*sections: Section) -> Linear:
        gain_db = _DB * float(np.log(np.abs(np.median(shown[1])) + 1e-9))
        return fitted(Linear(sections), shown, rate_hz, gain_db=gain_db)[0]

    def one_more(than: Linear) -> Linear:
        found = [
            tried(*than.sections, Section(kind, hz, order, gain)) for kind, order, hz, gain in _CANDIDATES
        ]
        alike = ALIKE * min(one.error_db for one in found)
        return next(one for one in found if one.error_db <= alike)

    best = tried()
    while best.error_db > FLAT_DB and len(best.sections) < MOST:
        step, worth = one_more(best), BETTER
        if step.error_db > worth * best.error_db and len(step.sections) < MOST:
            # beside what the other end of the band lacks neither shows
            step, worth = one_more(step), BETTER**2
        if step.error_db > worth * best.error_db:
            break
        best = step
    digital = [replace(one, digital_hz=float(rate_hz) * (one.kind in TREBLE)) for one in best.sections]
    return min(best, tried(*digital), key=lambda one: one.error_db)


def swept(pair: Pair, cell: Cell) -> tuple[Array, Complex] | None:
    """Capture over bypass, at frequencies even in their logarithm, in the quietest sweep; None without one.

    The gain that the cell has in the sweep is taken off: a low threshold turns it down as it goes, which
    looks like a filter that is not there, and like a delay.
    """
    sweeps = sorted(held(pair.wet, Sweep), key=lambda segment: segment.spec.level_dbfs)
    if not sweeps:
        return None
    span, rate_hz = sweeps[0].span, pair.rate_hz
    remembered_s = 9 * cell.smoothing.remembered_s if cell.bends else 0.0
    before = span.start - (min(remembered_s, LONGEST_S) + 0.1) * rate_hz
    sides = pair.read(max(before, pair.open_from(span.start)), span.stop + 0.1 * rate_hz)
    gain = gain_db(cell, sides.dry, rate_hz=rate_hz) if cell.bends else cell.makeup_db
    bare = sides.wet * 10 ** (-gain / 20)
    dry, wet = (one[-round(span.length + 0.2 * rate_hz) :] for one in (sides.dry, bare))
    size = 1 << int(np.ceil(np.log2(dry.size)))
    fine = np.fft.rfftfreq(size, 1 / rate_hz)
    one, two = np.fft.rfft(dry, size), np.fft.rfft(wet, size)
    edges = np.geomspace(LOWEST_HZ, min(HIGHEST_HZ, 0.44 * rate_hz), POINTS + 1)
    places = np.searchsorted(fine, edges)
    wide = np.flatnonzero(np.diff(places) > 0)
    starts = places[wide]
    cross = np.add.reduceat(two * one.conj(), np.append(starts, places[-1]))[:-1]
    power = np.add.reduceat(np.abs(one) ** 2, np.append(starts, places[-1]))[:-1]
    return np.sqrt(edges[wide] * edges[wide + 1]), np.asarray(cross / power, dtype=complex)


def numbers_of(filters: Sequence[Section], rate_hz: int) -> tuple[list[Knob], list[float]]:
    """How corners, and gains of those that have one, are fitted, and where they stand."""
    knobs = []
    for one in filters:
        lowest = SPLIT_HZ if one.kind == "high shelf" else 2.0
        highest = SPLIT_HZ if one.kind == "low shelf" else 0.499 * one.digital_hz or float(rate_hz)
        knobs.append(Knob(("corner",), lowest, highest, logarithmic=True, step=0.01))
    gains = [one.gain_db for one in filters if one.gain_db]
    knobs += [Knob(("gain",), -60.0, 60.0, step=0.01)] * len(gains)
    return knobs, [*(float(np.log(one.frequency_hz)) for one in filters), *gains]


def with_numbers(filters: Sequence[Section], values: Iterator[float]) -> tuple[Section, ...]:
    """The filters with other numbers in their places."""
    made = [replace(one, frequency_hz=float(np.exp(next(values)))) for one in filters]
    return tuple(replace(one, gain_db=next(values)) if one.gain_db else one for one in made)


def fitted(
    near: Linear, swept: tuple[Array, Complex], rate_hz: int, *, gain_db: float,
    more: Array | tuple[()] = (), besides: Callable[[Linear, float, Array], Array] | None = None,
) -> tuple[Linear, float, Array, float]:  # fmt: skip
    """Fit filters, a gain, a delay that is no filter, and `more` numbers: these, and the weighted error.

    `besides` says what errors, over their standard error, they leave elsewhere; of a sweep that is `FLAT_DB`.
    """
    filters, split = (*near.ahead, *near.sections), len(near.ahead)
    knobs, start = numbers_of(filters, rate_hz)
    edges = [(-80.0, 80.0), (-20.0, 20.0), *(knob.bounds for knob in knobs), *[(-40.0, 20.0)] * len(more)]
    low, high = np.transpose(edges)
    start = [gain_db, near.late, *start, *more]
    hz, ratio = swept

    def parts(values: Array) -> tuple[Linear, float, Array]:
        left = iter(values[2:].tolist())
        made = with_numbers(filters, left)
        placed = replace(near, ahead=made[:split], sections=made[split:], late=float(values[1]))
        return placed, float(values[0]), np.array(list(left))

    def off_db(values: Array) -> Array:
        placed, gain_db, _ = parts(values)
        model = 10 ** (gain_db / 20) * np.exp(-2j * np.pi * hz / rate_hz * placed.late)
        off = ratio / (model * response((*placed.ahead, *placed.sections), hz))
        both = np.log(np.where(np.abs(off) > 0, off, 1e-12))
        return np.concatenate([_DB * both.real, _DB * both.imag])

    def error(values: Array) -> Array:
        off = off_db(values) / FLAT_DB
        return np.concatenate([off, besides(*parts(values))]) if besides else off

    solved = least_squares(error, np.clip(start, low, high), bounds=(low, high), max_nfev=60, ftol=CLOSER)
    placed, gain_db, row = parts(solved.x)
    error_db = float(np.sqrt(np.mean(off_db(solved.x) ** 2) * 2)) if hz.size else 0.0
    score = float(np.sqrt(np.mean(solved.fun**2)))
    return replace(placed, error_db=error_db), gain_db, row, score
