"""One pass over the finished profile: numbers that deny each other are taken back, and it is said why."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from charprobe.profile import glossary
from charprobe.profile.entry import Entry, Health, Published, Table, flags, numbers
from charprobe.values.arrays import Array
from charprobe.values.quantity import Quantity, Unmeasured
from charprobe.values.wording import number_text, time_text

CODE = "contradiction"
EXPONENTIAL, STRAIGHT = 0.06, 0.11  # shares by which times may miss those of a law: a knee rounds a line
SLOPE = 0.05  # dB per dB by which a slope may miss the level steps it stands for
GAIN_DB = 0.1  # by which a low-level gain may miss the steps it stands for
CLOSE_DB = 1.0  # of a harmonic
SHARE_POINTS = 10.0  # percent by which a share may miss what is expected
TONE_DB = 0.3  # by which the gain of a tone may miss that of the steps beside it: curves bend between them
REFERENCE_DBFS, BESIDE_DB = -10.0, 3.0
WIDEST = 2.0  # width of an interval over its number from which it says nothing but a bound
SIGMAS = 4.0  # standard uncertainties by which two readings must differ to deny each other


@dataclass(frozen=True)
class Contradiction:
    """What denies each other, in words, which of it is taken back, and the bound that stays if one does."""

    takes_back: tuple[str, ...]
    message: str
    at_most: float | None = None


@dataclass(frozen=True)
class Readings:
    """What rules look at: readings that are published, and the curves."""

    published: Published
    curves: Mapping[str, Table]

    def number(self, name: str) -> Quantity | None:
        """A quantity if it is published as a number."""
        entry = self.published.get(name)
        return entry.reading if entry is not None and isinstance(entry.reading, Quantity) else None

    def bound(self, name: str) -> float | None:
        """A lower bound, if the quantity is published as one."""
        entry = self.published.get(name)
        return entry.reading.at_least if entry is not None and isinstance(entry.reading, Unmeasured) else None

    def column(self, curve: str, name: str) -> Array:
        """A column of a curve; empty where there is no such curve."""
        return numbers(self.curves[curve], name) if curve in self.curves else np.empty(0)

    def steps(self) -> tuple[Array, Array, Array]:
        """Level, gain and standard uncertainty of the level steps in use, by rising level."""
        if "static" not in self.curves:
            return np.empty(0), np.empty(0), np.empty(0)
        used = np.flatnonzero(flags(self.curves["static"], "used", missing=False))
        level, gain, std = (self.column("static", name)[used] for name in ("input_dbfs", "gain_db", "std_db"))
        order = np.argsort(level, kind="stable")
        return level[order], gain[order], std[order]


Rule = Callable[[Readings], Iterator[Contradiction]]


def reconciled(
    published: Published, curves: Mapping[str, Table]
) -> tuple[dict[str, Entry], tuple[Health, ...]]:
    """Take back what contradicts itself, rule by rule, and tell it.

    Parameters
    ----------
    published : mapping of str to Entry
        Every reading after health has withheld its own.
    curves : mapping of str to Table
        All curves.

    Returns
    -------
    dict of str to Entry
        The readings that may be published.
    tuple of Health
        One ``contradiction`` per rule that fired, naming what it withholds.
    """
    kept, health = dict(published), []
    for rule in RULES:
        for found in rule(Readings(kept, curves)):
            names = tuple(name for name in found.takes_back if name in kept)
            message = f"{found.message}; {_titles(names)} not given. The rest is kept"
            health.append(Health(CODE, "warn", message, withholds=names))
            for name in names:
                reading = Unmeasured(
                    glossary.term(name).unit, f"{CODE}: {found.message}", "see the curves", found.at_most
                )
                kept[name] = Entry(reading, kept[name].conditions)
    return kept, tuple(health)


def _titles(names: tuple[str, ...]) -> str:
    return ", ".join(glossary.term(name).title for name in names) + (" is" if len(names) == 1 else " are")


def release_law(read: Readings) -> Iterator[Contradiction]:
    """Deny a law of the release that has other times than the release."""
    t50, t63, t90, tau = (read.number(f"release.{name}") for name in ("t50", "t63", "t90", "tau_1"))
    hold, slow, share = (read.number(f"release.{name}") for name in ("hold", "tau_2", "tau_1_share"))
    if tau is None:
        law, early, wanted, allowed = "a straight line", t50, 1.8, STRAIGHT
    elif slow is None or share is None:
        law, early, wanted, allowed = "one exponential", t63, math.log(10), EXPONENTIAL
    else:
        wanted = _stretch(tau.value, slow.value, share.value / 100)
        law, early, allowed = "two exponentials", t63, EXPONENTIAL
    if early is None or t90 is None or (tau is None and read.number("release.rate") is None):
        return
    held_s = hold.value if hold is not None else 0.0
    stretch = (t90.value - held_s) / max(early.value - held_s, 1e-9)
    spread = SIGMAS * stretch * math.hypot(early.std / early.value, t90.std / t90.value)
    if abs(stretch - wanted) > allowed * wanted + spread:
        part = "50 %" if early is t50 else "63 %"
        yield Contradiction(
            tuple(f"release.{name}" for name in ("stages", "tau_1", "tau_2", "tau_1_share", "rate")),
            f"The release takes {stretch:.2f} times as long to 90 % as to {part}, {law} {wanted:.2f} times",
        )


def _stretch(fast_s: float, slow_s: float, share: float) -> float:
    """Time of 90 % over that of 63 % where two exponentials share a movement."""
    times = np.geomspace(fast_s / 1000, 10 * slow_s, 4000)
    left = share * np.exp(-times / fast_s) + (1 - share) * np.exp(-times / slow_s)
    at_63, at_90 = (float(times[np.argmax(left <= level)]) for level in (math.exp(-1), 0.1))
    return at_90 / at_63


def ordered_times(read: Readings) -> Iterator[Contradiction]:
    """Deny times of one edge that are not in the order of their shares."""
    for edge in ("attack", "release"):
        names = [f"{edge}.t{share}" for share in (50, 63, 90)]
        times = [(name, time) for name in names if (time := read.number(name)) is not None]
        if any(one.value > other.value for (_, one), (_, other) in pairwise(times)):
            text = ", ".join(f"{name[-3:]} {time_text(time.value)}" for name, time in times)
            yield Contradiction(tuple(names), f"The times of the {edge} are out of order ({text})")


def sure_times(read: Readings) -> Iterator[Contradiction]:
    """Deny a time of an edge whose interval reaches below zero, or is wider than the time itself is long."""
    for name, entry in read.published.items():
        time = read.number(name)
        if time is None or entry.reading.unit != "s" or name.split(".")[0] not in ("attack", "release"):
            continue
        if time.value > 0 and time.high - time.low > WIDEST * time.value:
            yield Contradiction(
                (name,),
                f"Anything from {time_text(max(time.low, 0.0))} to {time_text(time.high)} is as likely",
                time.high,
            )


def slope_of_steps(read: Readings) -> Iterator[Contradiction]:
    """Deny a slope that the highest level steps do not have, though no second bend parts them from it."""
    slope, threshold, knee = (read.number(f"static.{name}") for name in ("slope", "threshold", "knee_width"))
    if slope is None or threshold is None or read.number("static.second_threshold") is not None:
        return
    level, local, std = (read.column("static_slope", name) for name in ("input_dbfs", "slope", "slope_std"))
    begin = threshold.value + (knee.high / 2 if knee is not None else 0.0)
    above = np.flatnonzero(level > begin + 1.0)[-3:]
    if above.size < 2:
        return
    weight = 1 / np.maximum(std[above], 1e-6) ** 2
    mean = float(weight @ local[above] / weight.sum())
    if abs(mean - slope.value) > SLOPE + SIGMAS * math.hypot(float(weight.sum()) ** -0.5, slope.std):
        yield Contradiction(
            ("static.slope", "static.ratio"),
            f"The highest level steps rise by {mean:.2f} dB per dB, the curve's straight part by "
            f"{slope.value:.2f}",
        )


def gain_of_steps(read: Readings) -> Iterator[Contradiction]:
    """Deny a low-level gain that the steps below the threshold do not have."""
    gain, threshold, knee = (
        read.number(f"static.{name}") for name in ("low_level_gain", "threshold", "knee_width")
    )
    if gain is None or threshold is None:
        return
    level, own, std = read.steps()
    floor = read.number("static.lower_threshold")
    low = level < threshold.value - (knee.high / 2 if knee is not None else 0.0) - 3.0
    low &= level > (floor.value + 3.0 if floor is not None else -math.inf)
    if np.count_nonzero(low) < 2:
        return
    middle, spread = float(np.median(own[low])), float(np.median(std[low]))
    if abs(middle - gain.value) > GAIN_DB + SIGMAS * math.hypot(spread, gain.std):
        yield Contradiction(
            ("static.low_level_gain", "static.makeup_gain", "static.max_reduction"),
            f"The steps below the threshold have a gain of {middle:.2f} dB, the curve {gain.value:.2f} dB",
        )


def ripple_of_times(read: Readings) -> Iterator[Contradiction]:
    """Deny a share of ripple that the ripple expected from attack and release does not allow."""
    share, expected = read.number("colour.ripple_share"), read.number("colour.ripple_expected")
    if share is None or expected is None:
        return
    row = np.flatnonzero(read.column("colour_and_ripple", "expected_dbc") == expected.value)
    third = read.column("colour_and_ripple", "h3_dbc")[row]
    if not row.size or not math.isfinite(third[0]):
        return
    least, most = (
        100 * 10 ** ((end - third[0]) / 20) for end in (expected.low - CLOSE_DB, expected.high + CLOSE_DB)
    )
    if share.low > most or share.high < min(least, 100.0) - SHARE_POINTS:
        yield Contradiction(
            ("colour.ripple_share",),
            f"Over frequency the third harmonic looks like {share.value:.0f} % ripple; attack and release "
            f"let expect {number_text(expected.value, 1)} dBc of ripple, and {number_text(third[0], 1)} dBc "
            "was measured",
        )


def distortion_of_tones(read: Readings) -> Iterator[Contradiction]:
    """Deny a level up to which distortion stays low, or no colour is found, that a quieter tone exceeds."""
    frequency, level, thd = (
        read.column("harmonics", name) for name in ("frequency_hz", "input_dbfs", "thd_dbc")
    )
    if not frequency.size:
        return
    main = frequency == frequency[np.argmin(np.abs(np.log(frequency / 1000)))]
    for name, target in (("minus60db", -60.0), ("minus40db", -40.0)):
        full = f"colour.input_at_thd_{name}"
        bound = read.bound(full)
        loud = main & (thd > target) & (level <= (-math.inf if bound is None else bound))
        if loud.any():
            yield Contradiction(
                (full,),
                f"A tone at {number_text(float(level[loud].min()), 1)} dBFS has more than "
                f"{number_text(target, 0)} dB of distortion, though it is said to stay below up to "
                f"{number_text(bound or 0.0, 1)} dBFS",
            )
    bound = read.bound("colour.onset")
    found = np.array([cell == "colour" for cell in read.curves["harmonics"].columns["origin"]])
    if bound is not None and np.any(main & found & (level <= bound)):
        yield Contradiction(
            ("colour.onset",),
            f"Tones below {number_text(bound, 1)} dBFS show colour, though none is said to be",
        )


def gain_of_tones(read: Readings) -> Iterator[Contradiction]:
    """Deny harmonics of a reference tone that came through another gain than the level steps show there."""
    frequency, level, out, std = (
        read.column("harmonics", name)
        for name in ("frequency_hz", "input_dbfs", "fundamental_dbfs", "fundamental_std_db")
    )
    at, gain, spread = read.steps()
    if not at.size:
        return
    steps_hz = float(read.column("static", "frequency_hz")[0])
    tones = np.flatnonzero((np.abs(frequency / steps_hz - 1) < 0.02) & np.isfinite(out))
    if not tones.size:
        return
    tone = tones[np.argmin(np.abs(level[tones] - REFERENCE_DBFS))]
    if np.abs(at - level[tone]).min() > BESIDE_DB:
        return
    own, steps = float(out[tone] - level[tone]), float(np.interp(level[tone], at, gain))
    if abs(own - steps) > TONE_DB + SIGMAS * math.hypot(float(std[tone]), float(spread.max())):
        names = [name for name in read.published if re.fullmatch(r"colour\.\w+_at_reference", name)]
        yield Contradiction(
            (*names, "colour.even_odd_balance", "colour.ripple_share"),
            f"The reference tone came through a gain of {own:.2f} dB, the level steps show {steps:.2f} dB "
            "there: one of both had not settled",
        )


RULES: tuple[Rule, ...] = (
    ordered_times,
    sure_times,
    release_law,
    slope_of_steps,
    gain_of_steps,
    ripple_of_times,
    distortion_of_tones,
    gain_of_tones,
)
"""Every rule, in the order in which they are asked; a later one sees what earlier ones left."""
