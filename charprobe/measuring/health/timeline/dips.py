"""Gain that falls at once and comes back at once within one sweep or tone: a loose plug, a worn switch."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from charprobe.measuring.health.timeline.continuity import own_breaks
from charprobe.placing.take import Take
from charprobe.placing.tone_course import BLOCK_PERIODS, BLOCK_S, tone_runs, waves_of
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.stimulus.kinds.segment import Segment
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.values.arrays import Array, Complex, Flags, Index
from charprobe.values.quantity import DB_PER_NEPER
from charprobe.values.running_median import running_median
from charprobe.values.wording import clock_text, number_text, signed_text

FROM_HZ, TO_HZ = 150.0, 15_000.0  # of a sweep: blocks are long below, converters fall off above
TO_SHARE = 0.38  # of the sampling rate, likewise
OVER = 3  # blocks: an edge lies within the two in between
LEAST_DB = 0.05
CLEAR = 8.0  # times what noise makes levels step by
SUDDEN = 2.0  # times what the level moves by in as much time beside it: filters and gain cells take time
TURNS = 0.3  # radians per neper: a filter that has a level fall so fast turns the phase by as much
ALIKE = 1.6  # the one edge over the other
STAYS = (
    0.5  # of the step, that levels between two edges may lie off those beside them: else these are two dips
)
LONGEST_S = 0.5
AROUND_BLOCKS = 41


@dataclass(frozen=True)
class Dip:
    """A stretch of one sweep or tone whose gain is `size_db` off; its edges are samples of the capture."""

    segment: Segment
    start: float
    stop: float
    size_db: float


def check_dips(take: Take) -> list[Health]:
    """Look for dips and bumps of the gain with sudden edges, which no stage makes: code ``gain-step``.

    A stage's gain moves at edges of what is played, within its own times; a filter has a sweep rise and fall
    slowly, or turns its phase. A contact opens and closes at once, and turns no phase.
    """
    own = {event.segment.span for event in own_breaks(take)}  # a gain in steps may go one back and forth
    dips = (dip for dip in find_dips(take) if dip.segment.span not in own)
    return [_told(take, dip) for dip in sorted(dips, key=lambda dip: dip.start)]


def _told(take: Take, dip: Dip) -> Health:
    start_s, end_s = (at / take.source.rate_hz for at in (dip.start, dip.stop))
    message = (
        f"The gain steps and comes back: {signed_text(dip.size_db, 2)} dB for "
        f"{number_text(1e3 * (end_s - start_s), 0)} ms at {clock_text(start_s)} in {dip.segment.spec.name!r} "
        f"({take.label}). A loose plug, a worn switch or control, a wireless link? Levels and response there "
        f"carry it. Clean or replace what moves, and retake. {ALL_GIVEN}"
    )
    return Health("gain-step", "warn", message, take.channel, start_s, end_s)


def find_dips(take: Take) -> Iterator[Dip]:
    """Dips and bumps in every sweep and tone of a capture, in no order."""
    for segment in take.stimulus.segments:
        if isinstance(segment.spec, Sweep):
            yield from _in_sweep(take, segment, segment.spec)
    for run in tone_runs(take):
        sounding = np.abs(np.diff(run.totals[8])) > 0  # no block of zeros: that is told elsewhere
        waves = run.waves
        for number in np.flatnonzero(np.all(sounding, axis=1) & _sudden(waves)):
            yield from _dips(take, run.segment, waves[number], run.edges, start=float(run.starts[number]))


def _in_sweep(take: Take, segment: Segment, spec: Sweep) -> Iterator[Dip]:
    rate_hz = take.stimulus.rate_hz
    first_hz, last_hz = max(FROM_HZ, spec.from_hz), min(TO_HZ, TO_SHARE * rate_hz, spec.to_hz)
    if first_hz >= last_hz:
        return
    from_s, to_s = map(spec.reached_s, (first_hz, last_hz))
    cut = take.cut(segment.span.start + from_s * rate_hz, segment.span.start + to_s * rate_hz)
    turns = spec.turns((cut.position() - segment.span.start) / rate_hz)
    frequency_hz = np.gradient(turns) * rate_hz if turns.size > 1 else turns
    edges, at = [0], 0
    while at < turns.size - 1:
        cycles = max(BLOCK_PERIODS, round(BLOCK_S * float(frequency_hz[at])))
        at = int(np.searchsorted(turns, turns[at] + cycles))
        edges.append(at)
    if len(edges) > 8:
        carrier, places = np.cos(2 * np.pi * turns) + 1j * np.sin(2 * np.pi * turns), np.array(edges[:-1])
        once, twice, plain, sound = (
            np.add.reduceat(each, places)[:-1]
            for each in (carrier, carrier * carrier, cut.samples, carrier * cut.samples)
        )
        parts = (once.real, once.imag, twice.real, twice.imag, plain, sound.real, sound.imag)
        waves = waves_of(np.stack([np.diff(places), *parts]))
        if _sudden(waves):
            yield from _dips(take, segment, waves, places, start=cut.start)


def _level(waves: Complex) -> Array:
    return np.log(np.maximum(np.abs(waves), 1e-12))


def _stepping(level: Array) -> tuple[Array, Flags]:
    """How far a level steps over `OVER` blocks, and where that is sudden."""
    step, moves = _stepped(level), np.abs(np.diff(level))
    beside = OVER * np.maximum(moves[..., : -OVER - 1], moves[..., OVER + 1 :])
    return step, np.abs(step) > np.maximum(LEAST_DB / DB_PER_NEPER, SUDDEN * beside)


def _sudden(waves: Complex) -> Flags:
    """Whether the level of each row steps suddenly anywhere: hardly one does, so no more need be known."""
    level = _level(waves)
    if level.shape[-1] <= 2 * OVER + 1:
        return np.zeros(level.shape[:-1], dtype=bool)
    return np.asarray(np.all(np.isfinite(level), axis=-1) & np.any(_stepping(level)[1], axis=-1))


def _dips(take: Take, segment: Segment, wave: Complex, edges: Index, *, start: float) -> Iterator[Dip]:
    """Pairs of sudden steps, one down and one up."""
    level = _level(wave)
    step, sudden = _stepping(level)
    size = np.abs(step)
    sudden &= np.abs(_stepped(np.unwrap(np.angle(wave)))) < TURNS * size
    if not sudden.any():
        return
    sudden &= size > CLEAR * 1.4826 * running_median(
        size, width=min(AROUND_BLOCKS, size.size | 1), beyond="edge"
    )
    around = np.lib.stride_tricks.sliding_window_view(np.pad(np.where(sudden, size, 0.0), OVER), 2 * OVER + 1)
    sudden &= size == around.max(axis=1)
    open_at: int | None = None
    for at in np.flatnonzero(sudden):
        after = step[at]
        if open_at is not None:
            before = step[open_at]
            long_s = (edges[at + OVER] - edges[open_at + OVER]) / take.source.rate_hz
            inside = level[open_at + OVER + 1 : at + 2]
            stays = abs(np.median(inside) - (inside[0] + inside[-1]) / 2) < STAYS * size[at]
            if after * before < 0 and 1 / ALIKE < -after / before < ALIKE and long_s < LONGEST_S and stays:
                first, last = (
                    float(take.alignment.capture_index(start)) + float(edges[each + OVER])
                    for each in (open_at, at)
                )
                yield Dip(segment, first, last, DB_PER_NEPER * float(before - after) / 2)
                open_at = None
                continue
        open_at = int(at)


def _stepped(level: Array) -> Array:
    """How far a level steps over `OVER` blocks, beyond what it moves by beside them."""
    before, after = np.diff(level[..., : -OVER - 1]), np.diff(level[..., OVER + 1 :])
    return np.asarray(level[..., OVER + 1 : -1] - level[..., 1 : -OVER - 1] - OVER * (before + after) / 2)
