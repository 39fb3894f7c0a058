"""Structures of a gain cell: what the search chooses among, the numbers of each, and where they start."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product
from typing import Literal, get_args

from charprobe.replica.fitting.least_squares import Knob
from charprobe.replica.parts import (
    UNLIMITED_DB,
    Bend,
    Cell,
    Detector,
    Domain,
    Form,
    Loop,
    ReleaseKind,
    Smoothing,
    Towards,
)

Reads = Literal["envelope", "rectified", "peak falling", "average", "mean square"]
Quiet = Literal["kept", "moved", "moved to a floor"]
READS: tuple[Reads, ...] = get_args(Reads)
_SAID = {
    "envelope": "envelope without ripple", "rectified": "bare rectifier",
    "peak falling": "peak that falls back", "average": "average", "mean square": "mean square",
    "level": "smoothed ahead of the log", "level in dB": "level smoothed in dB",
    "reduction": "reduction smoothed in dB", "amplitude": "its root smoothed ahead of the log",
    "one": "one release", "side by side": "two releases side by side", "shared": "two releases in series",
    "charged": "a slow release charged by time", "slowed": "a release that slows the longer it reduces",
    "larger": "the larger of two releases",
}  # fmt: skip
USUAL_DBFS = -24.0  # a threshold where none shows
USUAL = Bend(USUAL_DBFS, 0.2, 4.0)  # of a stage that was thought to reduce nothing
# of the envelope, near enough for each valley to hold one: a few phases of few bass tones tell it
SPLITS_HZ = (20.0, 30.0, 45.0, 68.0, 100.0, 150.0, 225.0, 340.0, 500.0)
HOLD_S, HOLD_SHARE = 0.02, 0.3  # a hold where none is known: at most, and of the release that was timed
POWERS = (-1.0, 1.0)  # of the gain itself, and of a conductance
LINEAR: tuple[ReleaseKind, ...] = get_args(ReleaseKind)[:-2]  # whose stores add up, with times of their own
CHARGED = ("charged", "slowed", "larger")  # whose slow store rises with a time of its own
AHEAD_S = 0.02  # longest look-ahead that is sought
WIDE_DB = 6.0  # of a knee: it may stand for two bends


@dataclass(frozen=True)
class Structure:
    """What a gain cell is made of, without its numbers.

    `averaged` tells whether the detector has a time of its own ahead of the smoothing; `held` whether a
    release waits; `bends` counts those above which the curve acts; `low_cut` is its order;
    `quiet` whether what is quiet is expanded or lifted, without end or down to a floor; `bent` whether a
    power of the gain is what is smoothed.
    """

    reads: Reads = "envelope"
    averaged: bool = False
    domain: Domain = "reduction"
    form: Form = "branching"
    towards: Towards = "target"
    release: ReleaseKind = "one"
    loop: Loop = "feed-forward"
    held: bool = False
    bends: int = 1
    low_cut: int = 0
    quiet: Quiet = "kept"
    bent: bool = False

    @property
    def sound(self) -> bool:
        """Whether it is one of its own: two-stage releases act on the reduction, without hold."""
        kind = self.domain, self.form, self.towards, self.held
        plain = kind == ("reduction", "branching", "target", False)
        averages = self.reads in ("average", "mean square")
        if self.bent and self.domain != "reduction":
            return False
        if self.quiet != "kept" and self.loop == "feedback":
            return False  # what is quiet is read ahead of the cell
        if self.reads == "average" and not self.averaged:
            return False  # the bare rectifier at another threshold
        if self.reads == "mean square" and not self.averaged and self.domain in ("level in dB", "reduction"):
            return False  # so is a bare square, once in dB
        if self.domain == "amplitude" and (self.reads, self.averaged) != ("mean square", True):
            return False  # the same as "level", but for a mean of squares
        return (self.release == "one" or plain) and (
            averages or self.averaged == (self.reads == "peak falling")
        )

    def less(self) -> Iterator[Structure]:
        """Structures that are this one without some of hold, second bend, low cut, slow store, power."""
        for held, bends, low_cut, release, bent in product(
            {self.held, False}, {self.bends, min(self.bends, 1)}, {self.low_cut, 0}, {self.release, "one"},
            {self.bent, False},
        ):  # fmt: skip
            one = replace(self, held=held, bends=bends, low_cut=low_cut, release=release, bent=bent)
            if one != self:
                yield one

    def _bare(self) -> Structure:
        """The same; a bare square that is smoothed in dB is a bare rectifier at another threshold."""
        square = self.reads == "mean square" and not self.averaged and self.domain != "level"
        return replace(self, reads="rectified") if square else self

    def _with_release(self, release: ReleaseKind) -> Structure:
        """The same with another release, and what that asks for."""
        plain = replace(self, domain="reduction", form="branching", towards="target", held=False)
        return replace(plain, release=release)._bare()

    def bent_ones(self) -> Iterator[Structure]:
        """Structures with its detector whose times are none."""
        for release, bent in product(get_args(ReleaseKind), (False, True)):
            if bent or release not in LINEAR:
                yield replace(self._with_release(release), bent=bent)

    def in_words(self) -> str:
        """The structure in words."""
        parts = [
            self.loop, _SAID[self.reads] + (" with a time of its own" if self.averaged else ""),
            "a power of the gain smoothed" if self.bent else _SAID[self.domain],
            f"{self.form}, falling to {self.towards}", _SAID[self.release],
        ]  # fmt: skip
        parts += (
            ["hold"] * self.held
            + ["second bend"] * (self.bends > 1)
            + ["side-chain low cut"] * (self.low_cut > 0)
        )
        parts += ["of second order"] * (self.low_cut > 1)
        parts += [f"what is quiet {self.quiet}"] * (self.quiet != "kept")
        return ", ".join(parts)

    def neighbours(self) -> Iterator[Structure]:
        """Structures that differ in one thing, the likeliest first."""
        for reads, averaged in product(READS, (False, True)):
            if (reads, averaged) != (self.reads, self.averaged):
                yield replace(self, reads=reads, averaged=averaged)
        for domain in get_args(Domain):
            yield replace(self, domain=domain)._bare()
        yield replace(self, domain="level", averaged=False)
        for form, towards in product(get_args(Form), get_args(Towards)):
            yield replace(self, form=form, towards=towards)
        other: Loop = "feedback" if self.loop == "feed-forward" else "feed-forward"
        for towards in get_args(Towards):  # without a loop what falls to rest stands for one that does not
            yield replace(self, loop=other, towards=towards)
        for release in LINEAR if self.release in LINEAR else get_args(ReleaseKind):
            yield self._with_release(release)
        yield replace(self, held=not self.held)
        yield replace(self, bends=3 - self.bends if self.bends else 1)
        yield replace(self, low_cut=0 if self.low_cut else 1)
        yield replace(self, low_cut=1 if self.low_cut > 1 else 2)


def cell_of(structure: Structure, like: Cell) -> Cell:
    """Build a cell of a structure with the numbers of another, and usual ones for what that lacks."""
    old, held = like.detector, like.smoothing
    averages = structure.reads in ("average", "mean square")
    average_s = (old.rise_s or 0.004) if averages and structure.averaged else 0.0
    detector = Detector(
        "mean" if averages else "envelope" if structure.reads == "envelope" else "peak",
        exponent={"average": 1.0, "mean square": 2.0}.get(structure.reads, 1.0),
        rise_s=average_s,
        fall_s=(old.fall_s or 0.02) if structure.reads == "peak falling" else average_s,
        low_cut_hz=(old.low_cut_hz or 80.0) if structure.low_cut else 0.0,
        low_cut_q=(old.low_cut_q or 0.7) if structure.low_cut > 1 else 0.0,
        floor_dbfs=old.floor_dbfs,
        split_hz=old.split_hz,
    )
    bends, below = above(like)[: structure.bends], like.bends[len(above(like)) :]
    if len(bends) < structure.bends:
        wide = bends and bends[0].knee_db >= WIDE_DB
        bends = _split(bends[0]) if wide else (*bends, _further(bends[0]) if bends else USUAL)
    if structure.loop != like.loop:
        bends = tuple(_across(bend, structure.loop) for bend in bends)
    bends = (*bends, *below) if structure.quiet != "kept" else bends
    two = structure.release != "one"
    times = 1.0
    if structure.loop != like.loop:
        slope = max(0.05, 1 - min(0.95, sum(bend.slope for bend in like.bends)))
        times = (
            1 / slope if structure.loop == "feedback" else 1 / (1 + sum(bend.slope for bend in like.bends))
        )
    attack_s, release_s = held.attack_s, held.release_s
    if not structure.bends and (structure.domain == "reduction") != (held.domain == "reduction"):
        attack_s, release_s = release_s, attack_s  # a gain that opens is a reduction that is released
    smoothing = Smoothing(
        domain=structure.domain,
        form=structure.form,
        towards=structure.towards,
        attack_s=min(2.0, max(attack_s * times, 2e-5)),
        release_s=min(20.0, max(release_s, 1e-3)),
        hold_s=(held.hold_s or min(HOLD_S, HOLD_SHARE * release_s)) if structure.held else 0.0,
        release=structure.release,
        slow_s=(held.slow_s or 8 * held.release_s) if two else 0.0,
        slow_share=(held.slow_share or 0.3) if two and structure.release in LINEAR else 0.0,
        charge_s=(held.charge_s or 0.3) if structure.release in CHARGED else 0.0,
        power=held.power if structure.bent else 0.0,
        stretch=(held.stretch or 2.0) if structure.release == "slowed" else 0.0,
        stretch_db=(held.stretch_db or 3.0) if structure.release == "slowed" else 0.0,
    )
    lookahead_s = like.lookahead_s if structure.loop == "feed-forward" else 0.0
    made = replace(like, detector=detector, bends=bends, smoothing=smoothing)
    return replace(made, loop=structure.loop, lookahead_s=lookahead_s)


def above(cell: Cell) -> tuple[Bend, ...]:
    """The bends of a cell that act above their thresholds: they come first."""
    return tuple(bend for bend in cell.bends if bend.side == "above")


def _further(bend: Bend) -> Bend:
    """A slight bend well above another."""
    return Bend(bend.threshold_dbfs + 14, 0.05 * (1 if bend.slope >= 0 else -1), 4.0)


def _split(bend: Bend) -> tuple[Bend, Bend]:
    """Two bends at the quarters of one with a wide knee, which may stand for them."""
    apart_db = bend.knee_db / 4
    low, high = (
        replace(
            bend,
            threshold_dbfs=bend.threshold_dbfs + side * apart_db,
            slope=bend.slope / 2,
            knee_db=bend.knee_db / 2,
        )
        for side in (-1, 1)
    )
    return low, high


def joined(cell: Cell) -> Cell:
    """The cell with one bend in place of two that turn the same way, as steep above them both."""
    bends = above(cell)
    if len(bends) < 2 or bends[0].slope * bends[1].slope <= 0:
        return cell
    first, second = bends
    slope, apart_db = first.slope + second.slope, second.threshold_dbfs - first.threshold_dbfs
    one = replace(
        first,
        threshold_dbfs=first.threshold_dbfs + apart_db * second.slope / slope,
        slope=slope,
        knee_db=min(50.0, max(first.knee_db, abs(apart_db))),
    )
    return replace(cell, bends=(one, *cell.bends[2:]))


def _across(bend: Bend, loop: Loop) -> Bend:
    """The same settled curve with the detector on the other side of the cell."""
    if loop == "feedback":
        slope = bend.slope / max(0.05, 1 - bend.slope) if bend.slope < 1 else 20.0
        return replace(bend, slope=slope, knee_db=bend.knee_db / (1 + slope / 2))
    return replace(bend, slope=bend.slope / (1 + bend.slope), knee_db=bend.knee_db * (1 + bend.slope / 2))


def knobs_of(
    structure: Structure, rate_hz: float, *, from_afar: bool = False, ahead: bool = False
) -> tuple[Knob, ...]:
    """The numbers of a structure that are fitted, thresholds and knees as `knees` has them.

    `from_afar` leaves out what only a fit that is near tells from the others: how deep silence is. `ahead`
    says whether look-ahead is among them, which a fit takes for a number that needs not be whole samples;
    from afar, where it is, how low an envelope reaches is not.
    """
    at = "cell.bends.{}.{}".format
    steepest, fine = (60.0, 0.2) if structure.loop == "feedback" else (4.0, 1.0)
    knobs = [Knob(("cell.makeup_db",), -60, 60, step=0.01, far=3.0)]
    for i in range(structure.bends + (structure.quiet != "kept")):
        knobs += [
            Knob((at(i, "threshold_dbfs"),), -100, 30, step=0.01, far=6.0),
            Knob((at(i, "slope"),), -4.0, steepest, step=1e-3, far=0.3),
            Knob((at(i, "knee_db"),), 0.0, 1000.0, step=0.05 * fine, far=6.0 * fine),
        ]
    if structure.quiet == "moved to a floor":
        floor = Knob((at(structure.bends, "most_db"),), 0.05, UNLIMITED_DB, logarithmic=True, step=0.01)
        knobs.append(floor)
    least = 0.2 / rate_hz
    knobs += [
        Knob(("cell.smoothing.attack_s",), least, 5.0, logarithmic=True, step=0.01),
        Knob(("cell.smoothing.release_s",), 10 * least, 30.0, logarithmic=True, step=0.01),
    ]
    if structure.reads in ("average", "mean square") and structure.averaged:
        knobs.append(
            Knob(("cell.detector.rise_s", "cell.detector.fall_s"), least, 1.0, logarithmic=True, step=0.01)
        )
    if structure.reads == "envelope" and not (from_afar and ahead):
        knobs.append(
            Knob(("cell.detector.split_hz",), 10.0, 1000.0, logarithmic=True, step=0.02, starts=SPLITS_HZ)
        )
    if structure.domain == "level in dB" and not from_afar:
        # from how low it comes back tells how deep silence is
        knobs.append(Knob(("cell.detector.floor_dbfs",), -180, -50, step=1.0, far=20.0))
    if structure.reads == "peak falling":
        knobs.append(Knob(("cell.detector.fall_s",), least, 2.0, logarithmic=True, step=0.01))
    if structure.held:
        knobs.append(Knob(("cell.smoothing.hold_s",), 2 / rate_hz, 1.0, logarithmic=True, step=0.1))
    if structure.release != "one":
        knobs.append(Knob(("cell.smoothing.slow_s",), 100 * least, 60.0, logarithmic=True, step=0.01))
    if structure.release in CHARGED:
        knobs.append(Knob(("cell.smoothing.charge_s",), 100 * least, 30.0, logarithmic=True, step=0.01))
    if structure.release == "slowed":
        knobs.append(Knob(("cell.smoothing.stretch",), 0.01, 1000.0, logarithmic=True, step=0.01))
        knobs.append(Knob(("cell.smoothing.stretch_db",), 0.01, 1000.0, logarithmic=True, step=0.02))
    elif structure.release in LINEAR[1:]:
        knobs.append(Knob(("cell.smoothing.slow_share",), 0.0, 1.0, step=0.01, far=0.3))
    if structure.bent:
        knobs.append(Knob(("cell.smoothing.power",), -4.0, 4.0, step=0.01, far=0.3, starts=POWERS))
    if ahead and structure.loop == "feed-forward":
        knobs.append(Knob(("cell.lookahead_s",), 0.0, AHEAD_S, step=1 / rate_hz, far=AHEAD_S / 10))
    if structure.low_cut:
        knobs.append(Knob(("cell.detector.low_cut_hz",), 5.0, 5000.0, logarithmic=True, step=0.01))
    if structure.low_cut > 1:
        knobs.append(Knob(("cell.detector.low_cut_q",), 0.3, 3.0, logarithmic=True, step=0.01))
    return tuple(knobs)
