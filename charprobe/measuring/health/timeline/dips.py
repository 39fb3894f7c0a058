"""Gain that falls at once and comes back at once within one sweep or tone: a loose plug, a worn switch."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from charprobe.measuring.health.timeline.continuity import own_breaks
from charprobe.placing.take import Take
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.stimulus.kinds.segment import Segment
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.values.arrays import Array, Complex, Index
from charprobe.values.phasor import phasor
from charprobe.values.quantity import DB_PER_NEPER
from charprobe.values.running_median import running_median
from charprobe.values.wording import clock_text, number_text, signed_text

BLOCK_S, BLOCK_PERIODS = 0.002, 2  # what a level is read from
FROM_HZ, TO_HZ = 150.0, 15_000.0  # of a sweep: blocks are long below, converters fall off above
TO_SHARE = 0.38  # of the sampling rate, likewise
OVER = 3  # blocks: an edge lies within the two in between
AFTER_EDGE_S, BEFORE_EDGE_S = 0.012, 0.006  # left out of a tone
LEAST_DB = 0.05
CLEAR = 8.0  # times what noise makes levels step by
SUDDEN = 2.0  # times what the level moves by in as much time beside it: filters and gain cells take time
TURNS = 0.3  # radians per neper: a filter that has a level fall so fast turns the phase by as much
ALIKE = 1.6  # the one edge over the other
LONGEST_S = 0.5
AROUND_BLOCKS = 41
MOST_TOLD = 3


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
    dips = sorted((dip for dip in find_dips(take) if dip.segment.span not in own), key=lambda dip: dip.start)
    if not dips:
        return []
    rate_hz = take.source.rate_hz
    named = ", ".join(
        f"{signed_text(dip.size_db, 2)} dB for {number_text(1e3 * (dip.stop - dip.start) / rate_hz, 0)} ms "
        f"at {clock_text(dip.start / rate_hz)} in {dip.segment.spec.name!r}"
        for dip in dips[:MOST_TOLD]
    )
    more = f" and {len(dips) - MOST_TOLD} more" if len(dips) > MOST_TOLD else ""
    message = (
        f"The gain steps and comes back: {named}{more} ({take.label}). A loose plug, a worn switch or "
        "control, a wireless link? Levels and response there carry it. Clean or replace what moves, and "
        f"retake. {ALL_GIVEN}"
    )
    return [
        Health(
            "gain-step", "warn", message, take.channel, start_s=dips[0].start / rate_hz,
            end_s=dips[-1].stop / rate_hz,
        )
    ]  # fmt: skip


def find_dips(take: Take) -> Iterator[Dip]:
    """Dips and bumps in every sweep and tone of a capture, in no order."""
    rate_hz = take.stimulus.rate_hz
    for segment in take.stimulus.segments:
        if isinstance(segment.spec, Sweep):
            yield from _in_sweep(take, segment, segment.spec)
        for tone in segment.tones:
            cut = take.cut(
                tone.start + tone.ramp + AFTER_EDGE_S * rate_hz, tone.stop - BEFORE_EDGE_S * rate_hz
            )
            per_sample = tone.frequency_hz / rate_hz
            turn = per_sample * cut.step
            cycles = max(BLOCK_PERIODS, round(BLOCK_S * tone.frequency_hz))
            edges = np.arange(0, cut.samples.size, cycles / turn).astype(int)
            if edges.size < 8 or not np.all(np.isfinite(cut.samples)):
                continue
            sums = _even_sums(cut.samples, per_sample * (cut.start - tone.start), turn, edges)
            if np.all((sums.plain != 0) | (sums.sound != 0)):  # no block of zeros: that is told elsewhere
                yield from _dips(take, segment, sums, edges, start=cut.start)


@dataclass(frozen=True)
class _Sums:
    """Per block its samples, and sums of the sound, and of the carrier, its square and it times the sound."""

    count: Index
    plain: Array
    once: Complex
    twice: Complex
    sound: Complex


def _even_sums(samples: Array, first_turns: float, turns_per_sample: float, edges: Index) -> _Sums:
    """Sums over blocks of a carrier that turns evenly: it is the same in each but for its start."""
    count = np.diff(edges)
    least = int(count.min())
    rows = np.lib.stride_tricks.sliding_window_view(samples, least)[edges[:-1]]
    inside, basis = _block_of(turns_per_sample, least)
    products = rows @ basis
    more = np.where(count > least, samples[edges[:-1] + least], 0.0)  # blocks are as long, or one longer
    once = np.exp(2j * np.pi * ((first_turns + turns_per_sample * edges) % 1.0))
    twice = once * once
    sound = (products[:, 1] + 1j * products[:, 2] + more * inside[-1]) * once[:-1]
    of_once, of_twice = (  # geometric sums
        np.diff(at) / (np.exp(2j * np.pi * n * turns_per_sample) - 1) for n, at in ((1, once), (2, twice))
    )
    return _Sums(count, products[:, 0] + more, of_once, of_twice, sound)


@lru_cache(maxsize=64)
def _block_of(turns_per_sample: float, count: int) -> tuple[Complex, Array]:
    """A carrier over so many samples and the next, and one, its cosine and its sine; not to be changed."""
    wave = phasor(0.0, turns_per_sample, count + 1)
    return wave, np.stack([np.ones(count), wave.real[:-1], wave.imag[:-1]], axis=1)


def _in_sweep(take: Take, segment: Segment, spec: Sweep) -> Iterator[Dip]:
    rate_hz = take.stimulus.rate_hz
    rate_s = spec.length_s / np.log(spec.to_hz / spec.from_hz)
    first_hz, last_hz = max(FROM_HZ, spec.from_hz), min(TO_HZ, TO_SHARE * rate_hz, spec.to_hz)
    if first_hz >= last_hz:
        return
    from_s, to_s = (rate_s * float(np.log(each / spec.from_hz)) for each in (first_hz, last_hz))
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
        plain, *others = (
            np.add.reduceat(each, places)[:-1]
            for each in (cut.samples, carrier, carrier * carrier, carrier * cut.samples)
        )
        sums = _Sums(np.diff(places), plain, *others)
        yield from _dips(take, segment, sums, places, start=cut.start)


def _dips(take: Take, segment: Segment, sums: _Sums, edges: Index, *, start: float) -> Iterator[Dip]:
    """Pairs of sudden steps, one down and one up."""
    wave = _waves(sums)
    level = np.log(np.maximum(np.abs(wave), 1e-12))
    if not np.all(np.isfinite(level)):
        return
    step, moves = _stepped(level), np.abs(np.diff(level))
    beside = OVER * np.maximum(moves[: -OVER - 1], moves[OVER + 1 :])
    size = np.abs(step)
    sudden = size > np.maximum(LEAST_DB / DB_PER_NEPER, SUDDEN * beside)
    if not sudden.any():  # the usual case, in which neither phase nor noise need be known
        return
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
            if after * before < 0 and 1 / ALIKE < -after / before < ALIKE and long_s < LONGEST_S:
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
    before, after = np.diff(level[: -OVER - 1]), np.diff(level[OVER + 1 :])
    return np.asarray(level[OVER + 1 : -1] - level[1 : -OVER - 1] - OVER * (before + after) / 2)


def _waves(sums: _Sums) -> Complex:
    """Complex amplitude of a wave fitted beside an offset within each block."""
    count, once, twice = sums.count.astype(np.float64), sums.once, sums.twice
    cc, ss, cs = (count + twice.real) / 2, (count - twice.real) / 2, twice.imag / 2
    c, s, along, across = once.real, once.imag, sums.sound.real, sums.sound.imag
    # three unknowns by cofactors, a block to each place
    first, both, third = ss * count - s * s, c * s - cs * count, cs * s - c * ss
    determinant = cc * first + cs * both + c * third
    cosine = first * along + both * across + third * sums.plain
    sine = both * along + (cc * count - c * c) * across + (cs * c - cc * s) * sums.plain
    return np.asarray((cosine - 1j * sine) / determinant)
