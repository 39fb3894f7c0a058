"""Which parts of a stimulus a fit hears, and which are held out to choose between structures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from charprobe.placing.take import Take
from charprobe.stimulus.kinds.bursts import BurstLengths, Bursts, BurstTrain
from charprobe.stimulus.kinds.equal_peak import EqualPeak
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.segment import Segment, Tone
from charprobe.stimulus.kinds.steady import Tones
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.stimulus.timetable import Stimulus

# the search hears the least, the fit that and more; tones show colour, sweeps what filters do to the treble
Use = Literal["search", "fit", "held out", "colour", "colour held out", "sweep"]
STEPS_S = 5.0  # of level steps, at most
MIDDLE_HZ, LEVELS = 700.0, 8
SETTLED = 0.4  # of a tone, from where on colour is told: before it the gain moves
LOUDEST = 4  # level steps at the top
BELOW_DB = 20.0  # under the threshold, from where on level steps are heard
LOUDER_DB = 0.5  # by less, a tone asks for no more reduction than the one after it at the same pitch
TOP_HZ, TOP_SHARE = 20_000.0, 0.44  # of the rate: above, converters ring
TAIL_S = 0.006  # faded end of a last tone


@dataclass(frozen=True)
class Stretch:
    """Stimulus samples that are heard together, and what for.

    `frequency_hz` is that of its first tone. `before` holds start and level in dBFS of what sounds ahead of
    it and is louder than all between, or as loud at another pitch, the last first: only these can
    still be remembered, for an onset at another pitch overshoots by another amount.
    """

    name: str
    start: int
    stop: int
    use: Use
    frequency_hz: float = 0.0
    before: tuple[tuple[int, float], ...] = ()


def stretches_of(take: Take, *, threshold_dbfs: float) -> tuple[Stretch, ...]:
    """Choose stretches of a take: bursts by carrier phase, level steps around the threshold, tones.

    Of the reference bursts one phase is heard by the search, another by the fit besides; of other sets one by
    the fit; the next one of each is held out. Programme is never among them. `threshold_dbfs` is on the axis
    of the stimulus, minus infinity where it is not known.
    """
    found: list[Stretch] = []
    for segment in take.stimulus.segments:
        if take.holds(segment):
            found += _of(segment, threshold_dbfs, take.stimulus.rate_hz)
    sounding = _sounding(take.stimulus)
    return tuple(after_loud(stretch, sounding) for stretch in sorted(found, key=lambda one: one.start))


def _sounding(stimulus: Stimulus) -> list[Tone]:
    """Tones, and markers and sweeps as tones at a pitch of their own: a low threshold remembers them too."""
    level = stimulus.recipe.sync_dbfs
    marks = [(span, level) for span in (stimulus.opening, stimulus.ident, stimulus.closing)]
    marks += [(sweep.span, sweep.spec.level_dbfs) for sweep in stimulus.of_kind(Sweep)]
    others = [Tone(span.start, span.length, 1.0, level, 0.0, 0, 0) for span, level in marks]
    return [*(tone for segment in stimulus.alike for tone in segment.tones), *others]


def after_loud(stretch: Stretch, tones: list[Tone]) -> Stretch:
    """Return a stretch with what may still be remembered of tones ahead of it, see `Stretch.before`."""
    before: list[tuple[int, float]] = []
    top, pitches = -np.inf, set[float]()
    for tone in sorted(tones, key=lambda tone: -tone.stop):
        if tone.stop > stretch.start or tone.level_dbfs < top - LOUDER_DB:
            continue
        louder = tone.level_dbfs > top + LOUDER_DB
        if louder or tone.frequency_hz not in pitches:
            before.append((tone.start, tone.level_dbfs))
        top = max(top, tone.level_dbfs)
        pitches = {tone.frequency_hz} if louder else pitches | {tone.frequency_hz}
    return replace(stretch, before=tuple(before))


def _of(segment: Segment, threshold_dbfs: float, rate_hz: int) -> Iterator[Stretch]:
    spec = segment.spec
    if isinstance(spec, Bursts | BurstLengths | BurstTrain):
        sets = len(spec.holds_s) if isinstance(spec, BurstLengths) else 1
        groups = _groups(segment)
        per_set = max(1, len(groups) // sets)
        for first in range(0, len(groups), per_set):
            some = groups[first : first + per_set]
            uses: list[Use] = ["search", "fit", "held out"] if len(some) > 2 else ["search", "held out"]
            if not (isinstance(spec, Bursts) and spec.reference):
                uses = ["fit", "held out"]
            for group, use in zip(some, uses, strict=False):
                yield _stretch(spec.name, group, use, rate_hz)
    elif isinstance(spec, LevelSteps):
        rising = segment.tones[: _peak(segment.tones) + 1]
        near = [tone for tone in rising if tone.level_dbfs > threshold_dbfs - BELOW_DB] or list(rising[-1:])
        most = max(1, round(STEPS_S / spec.step_s))
        yield _stretch(spec.name, near[:most], "search", rate_hz)  # the knee; bursts show what is louder
        if louder := near[most:][-LOUDEST:]:
            yield _stretch(spec.name, louder, "fit", rate_hz)
        falling = segment.tones[len(rising) :][: max(1, most // 2)]
        if len(falling) > 2:  # how it lets go from the loudest, which a search must not guess
            yield _stretch(spec.name, falling[:2], "search", rate_hz)
            falling = falling[2:]
        if falling:
            yield _stretch(spec.name, falling, "held out", rate_hz)
    elif isinstance(spec, EqualPeak):
        loud = segment.tones[len(segment.tones) // 2 :]
        yield _stretch(spec.name, loud[::2], "fit", rate_hz)
        yield _stretch(spec.name, loud[1::2], "held out", rate_hz)
    elif isinstance(spec, Sweep):
        top_s = spec.reached_s(min(TOP_HZ, TOP_SHARE * rate_hz))
        yield Stretch(spec.name, segment.span.start, segment.span.start + round(top_s * rate_hz), "sweep")
    elif isinstance(spec, Tones):
        yield from _tones(segment, spec, rate_hz)


def _tones(segment: Segment, spec: Tones, rate_hz: int) -> Iterator[Stretch]:
    """The lowest tones show the ripple of a detector; those of the middle, level by level, show colour."""
    by_pitch = sorted(spec.frequencies_hz)
    low = [tone for tone in segment.tones if tone.frequency_hz == by_pitch[0]][::-1]
    uses: tuple[Use, ...] = ("search", "held out", "fit")
    for tone, use in zip(low, uses, strict=False):
        yield _stretch(spec.name, [tone], use, rate_hz)
    middle = min(by_pitch, key=lambda hz: abs(hz - MIDDLE_HZ))
    for i, tone in enumerate([t for t in segment.tones if t.frequency_hz == middle][::-1][:LEVELS]):
        settled = tone.start + round(SETTLED * tone.length)
        one = _stretch(spec.name, [tone], "colour held out" if i % 3 == 1 else "colour", rate_hz)
        yield replace(one, start=settled)


def _stretch(name: str, tones: list[Tone] | tuple[Tone, ...], use: Use, rate_hz: int) -> Stretch:
    return Stretch(name, tones[0].start, tones[-1].stop - round(TAIL_S * rate_hz), use, tones[0].frequency_hz)


def _groups(segment: Segment) -> list[list[Tone]]:
    groups: dict[int, list[Tone]] = {}
    for tone in segment.tones:
        groups.setdefault(tone.group, []).append(tone)
    return list(groups.values())


def _peak(tones: tuple[Tone, ...]) -> int:
    return max(range(len(tones)), key=lambda i: tones[i].level_dbfs)
