"""What a replica is made of: filters, gain cell, colour; plain numbers that hold at any sampling rate."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, Literal

from annotated_types import Interval, MaxLen

Level = Annotated[float, Interval(ge=-120, le=40)]
Gain = Annotated[float, Interval(ge=-80, le=80)]
Slope = Annotated[float, Interval(ge=-1000, le=1000)]
Seconds = Annotated[float, Interval(ge=0, le=60)]
Share = Annotated[float, Interval(ge=0, le=1)]
Power = Annotated[float, Interval(ge=-4, le=4)]
Stretch = Annotated[float, Interval(ge=0, le=1e4)]
Corner = Annotated[float, Interval(ge=0.01, le=1e6)]
CornerOrNone = Annotated[float, Interval(ge=0, le=1e6)]
FLOOR_DBFS = -120.0  # what a detector reads in silence, where nothing tells
DEEP_DB = 20.0  # of reduction
UNLIMITED_DB = 120.0  # `Bend.most_db` of a bend without a range limit

DetectorKind = Literal["peak", "mean", "envelope"]
Domain = Literal["level", "level in dB", "reduction", "amplitude"]
Form = Literal["branching", "decoupled"]
Towards = Literal["target", "rest"]
ReleaseKind = Literal["one", "side by side", "shared", "charged", "slowed", "larger"]
Loop = Literal["feed-forward", "feedback"]
Place = Literal["before", "behind", "in loop"]
SectionKind = Literal["low cut", "high cut", "low shelf", "high shelf", "bell"]


@dataclass(frozen=True)
class Detector:
    """What the side chain reads; a sine of steady level reads that level.

    Attributes
    ----------
    kind : {"peak", "mean", "envelope"}
        The rectified sample; its p-th power scaled so that the mean over a sine is right; or the root of the
        summed squares of two copies a quarter period apart.
    exponent : float, 0.25 to 16
        p of "mean": 1 average, 2 RMS. 1 for the others.
    rise_s, fall_s, kept_s : float >= 0
        Time constants with which the reading rises and falls (both equal: an average), and how long it is
        kept after a rise.
    low_cut_hz, low_cut_q : float >= 0
        Corner of a low cut ahead of it, 0: none; of second order with that quality, 0: of first order.
    shelf_hz, shelf_db : float
        First-order treble shelf ahead of it, half of its gain at the corner; 0 Hz: none.
    floor_dbfs : float
        What it reads in silence, in dB: there a level that is smoothed in dB falls to.
    split_hz : float > 0
        Of "envelope": from here to half the rate less this the two copies lie a quarter period apart; what
        they do to the phases of the bass shows where many pitches sound at once.
    """

    kind: DetectorKind = "peak"
    exponent: Annotated[float, Interval(ge=0.25, le=16)] = 1.0
    rise_s: Seconds = 0.0
    fall_s: Seconds = 0.0
    kept_s: Seconds = 0.0
    low_cut_hz: CornerOrNone = 0.0
    low_cut_q: Annotated[float, Interval(ge=0, le=10)] = 0.0
    shelf_hz: CornerOrNone = 0.0
    shelf_db: Gain = 0.0
    floor_dbfs: Annotated[float, Interval(ge=-200, le=0)] = FLOOR_DBFS
    split_hz: Annotated[float, Interval(ge=1, le=2000)] = 60.0

    def __post_init__(self) -> None:
        if self.kind != "mean" and self.exponent != 1:
            raise ValueError('an exponent other than 1 for the kind "mean" only')


@dataclass(frozen=True)
class Bend:
    """One bend of the gain computer: the reduction it adds on one side of its threshold.

    Attributes
    ----------
    threshold_dbfs : float
        Where the straight lines meet, on the axis of what the detector hears: the cell's input, or with
        feedback its output ahead of make-up.
    slope : float
        dB of reduction per dB beyond the threshold. Feed-forward: 1 - 1/ratio (1 limits, more than 1
        over-compresses); feedback: ratio - 1; below the threshold positive expands and negative lifts.
        Bends add up, so that a second one carries what its slope adds.
    knee_db : float >= 0
        Width of the quadratic knee.
    side : {"above", "below"}
        Where it acts.
    most_db : float
        Range limit: largest size of its reduction.
    """

    threshold_dbfs: Level
    slope: Slope
    knee_db: Annotated[float, Interval(ge=0, le=60)] = 0.0
    side: Literal["above", "below"] = "above"
    most_db: Annotated[float, Interval(ge=0.01, le=UNLIMITED_DB)] = UNLIMITED_DB


@dataclass(frozen=True)
class Smoothing:
    """How the gain is let follow: one-pole time constants (63.2 % of a step), and what they act on.

    Attributes
    ----------
    domain : {"level", "level in dB", "reduction", "amplitude"}
        What is smoothed: the detector's reading (its p-th power), that in dB, the reduction in dB, or the
        p-th root of the reading.
    form : {"branching", "decoupled"}
        One store that changes its time, or a release at once upwards followed by an attack filter.
    towards : {"target", "rest"}
        Where a release falls to: the target, or silence until the target is met.
    attack_s, release_s, hold_s : float >= 0
        Times; after a rise the release waits for `hold_s`.
    power : float, -4 to 4
        Of the domain "reduction": it is smoothed as one over the gain to this power: 1 the conductance of a
        light cell or transistor, -1 the gain itself, 0 the reduction in dB. Above 0 an attack is the faster
        the farther it goes; below, a release the faster the deeper it begins.
    release : {"one", "side by side", "shared", "charged", "slowed", "larger"}
        Stages of the release; all but "one" act on the reduction, branching, without hold.
        "side by side": two stores with the same attack, the slow one bears `slow_share`.
        "shared": two leaking stores in series, charged together, the slow one by `slow_share`; what lies
        over both is compared with the target, so that a long charge moves into the slow one.
        "charged": the slow store follows the target with `charge_s`, out of the fast one, and empties
        with `slow_s`; the fast one makes up the rest.
        "slowed": the slow store follows the reduction, up with `charge_s` and down with `slow_s`; the release
        takes ``1 + stretch * slow / (reduction + stretch_db)`` times as long, both as they are smoothed.
        "larger": of two stores the larger counts; the slow one rises with `charge_s` and falls with `slow_s`.
    slow_s, slow_share, charge_s, stretch, stretch_db : float >= 0
        Of the slow store; 0 where there is none.
    """

    domain: Domain = "reduction"
    form: Form = "branching"
    towards: Towards = "target"
    attack_s: Seconds = 0.0
    release_s: Seconds = 0.0
    hold_s: Seconds = 0.0
    release: ReleaseKind = "one"
    slow_s: Seconds = 0.0
    slow_share: Share = 0.0
    charge_s: Seconds = 0.0
    power: Power = 0.0
    stretch: Stretch = 0.0
    stretch_db: Stretch = 0.0

    def __post_init__(self) -> None:
        if self.release != "one" and (self.domain, self.form, self.hold_s) != ("reduction", "branching", 0):
            raise ValueError('two stages on the domain "reduction", form "branching", without hold')
        if self.release != "one" and self.slow_s <= 0:
            raise ValueError("`slow_s` above 0 for two stages")
        if self.power and self.domain != "reduction":
            raise ValueError('a power on the domain "reduction"')

    @property
    def remembered_s(self) -> float:
        """Time constant of the slowest store, roughly, the hold behind it."""
        slowed_s = self.release_s * (1 + self.stretch / max(1.0, self.stretch_db / DEEP_DB))
        return max(slowed_s, self.slow_s) + self.hold_s


@dataclass(frozen=True)
class Cell:
    """The gain cell; without a bend it is make-up alone.

    Attributes
    ----------
    detector, smoothing
        Side chain.
    bends : tuple of at most 3 Bend
        Gain computer.
    loop : {"feed-forward", "feedback"}
        Whether the detector hears the cell's input or its output; the loop is closed without delay.
    lookahead_s : float
        By how much the gain runs ahead of the sound, whole samples; feed-forward only.
    link : float, 0 to 1
        Share of the greatest reduction of all channels that each takes over.
    makeup_db : float
        Gain behind the loop.
    """

    detector: Detector = Detector()
    bends: Annotated[tuple[Bend, ...], MaxLen(3)] = ()
    smoothing: Smoothing = Smoothing()
    loop: Loop = "feed-forward"
    lookahead_s: Annotated[float, Interval(ge=0, le=0.1)] = 0.0
    link: Share = 0.0
    makeup_db: Gain = 0.0

    def __post_init__(self) -> None:
        if self.loop == "feedback" and self.lookahead_s > 0:
            raise ValueError("`lookahead_s` 0 with feedback")


SlopesDb = Annotated[tuple[Annotated[float, Interval(ge=-200, le=40)], ...], MaxLen(64)]


@dataclass(frozen=True)
class Colour:
    """A memoryless monotone curve with slope 1 at rest, said by its slope in dB at sizes of its input.

    The slope at +a and -a is ``odd_db + even_db`` and ``odd_db - even_db``; a cubic spline over the input
    joins them with 0 dB at rest, and beyond the last size the slope stays. Odd
    harmonics come from `odd_db`, even ones from `even_db`.

    Attributes
    ----------
    place : {"before", "behind", "in loop"}
        Ahead of the cell, behind it, or behind it and heard by a feedback detector.
    amplitude : tuple of float > 0
        Sizes of the input, rising, full scale = 1; none: no colour.
    odd_db, even_db : tuple of float
        As many.
    oversampled : bool
        Whether it is free of aliasing, as analogue circuits are.
    """

    place: Place = "behind"
    amplitude: Annotated[tuple[Annotated[float, Interval(ge=1e-6, le=1e3)], ...], MaxLen(64)] = ()
    odd_db: SlopesDb = ()
    even_db: SlopesDb = ()
    oversampled: bool = True

    def __post_init__(self) -> None:
        if not len(self.amplitude) == len(self.odd_db) == len(self.even_db):
            raise ValueError("`amplitude`, `odd_db` and `even_db` of one length")
        if any(low >= high for low, high in pairwise(self.amplitude)):
            raise ValueError("`amplitude` rising")


@dataclass(frozen=True)
class Section:
    """One filter section; its response is met up to half of any sampling rate.

    Cuts are maximally flat, 3.01 dB down at the corner; shelves have half of their gain (in dB) there; a
    bell has its gain at its centre. It is analogue, or made from an analogue one by the bilinear transform at
    the rate `digital_hz`, which brings all that lies above half of that down below it.
    """

    kind: SectionKind
    frequency_hz: Corner
    order: Annotated[int, Interval(ge=1, le=2)] = 1
    gain_db: Gain = 0.0
    q: Annotated[float, Interval(ge=0.05, le=50)] = math.sqrt(0.5)
    digital_hz: Annotated[float, Interval(ge=0, le=1e6)] = 0.0

    @property
    def slowest_hz(self) -> float:
        """Corner of what it remembers longest, roughly: of a shelf the lower of its two."""
        return float(self.frequency_hz * 10 ** (-abs(self.gain_db) / 40 / self.order))


Sections = Annotated[tuple[Section, ...], MaxLen(16)]


@dataclass(frozen=True)
class Chain:
    """The whole stage in the order of the sound: filter, colour or cell, cell or colour, filter.

    `polarity` is -1 where the stage inverts. What delays the sound is told by `latency_s` and not done when
    the chain is played, so that a played take lies on its dry one.
    """

    filter_in: Sections = ()
    cell: Cell = Cell()
    colour: Colour = Colour()
    filter_out: Sections = ()
    polarity: Literal[-1, 1] = 1
    latency_s: Annotated[float, Interval(ge=-10, le=10)] = 0.0

    def __post_init__(self) -> None:
        if self.colour.place == "in loop" and self.cell.loop != "feedback" and self.colour.amplitude:
            raise ValueError('colour "in loop" with feedback only')
