"""Plain sentences about attack and release, each drawn from the readings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from charprobe.estimators.static.curve import StaticCurve
from charprobe.estimators.timing.edge.excursion import excursion_db
from charprobe.estimators.timing.edge.times import SMALLEST_DB
from charprobe.estimators.timing.release_kind import ROUNDED, waited_s
from charprobe.measuring.chapters.timing.detail import passes_db, step_meaning
from charprobe.measuring.chapters.timing.loop import loop_sentence
from charprobe.measuring.chapters.timing.rows import BurstRow
from charprobe.profile.entry import Published, known
from charprobe.profile.told import Told
from charprobe.values.editors_digits import edited
from charprobe.values.quantity import Quantity, Reading, Unmeasured
from charprobe.values.wording import number_text, signed_text

LEAST_OVER_DB = 3.0
UNLIKE_DB = 1.0  # by which bursts and level steps must differ for the frequency to be named as the cause
LINE = 1.95  # t90 over t50 up to which a release is a straight line, of which it is 1.8


def timing_words(
    entries: Published,
    bursts: Sequence[BurstRow],
    lengths: Sequence[BurstRow],
    static: StaticCurve | None,
) -> list[str]:
    """Return what a recordist needs to know of the timing, in sentences drawn from what is published."""
    reference = next((row for row in bursts if getattr(row.segment.spec, "reference", False)), None)
    reference = reference or (bursts[0] if bursts else None)
    out = []
    if reference is not None:
        out += [_attack(entries, reference), _passes(entries, reference), _release(entries, reference)]
        out += [_other_frequency(reference, static), _answers_changes(reference)]
    if known(entries, "attack.t63", "release.t63"):
        out.append(_steps(bursts))
    if reference is not None:
        ratio, memory = entries["release.open_loop_ratio"].reading, entries["release.memory"].reading
        out.append(loop_sentence(ratio, reference, memory, static))
    out.append(_memory(entries, lengths))
    return out


def seconds(value: float) -> str:
    """Return a time in ms or s, three figures."""
    return f"{value * 1e3:.3g} ms" if abs(value) < 1 else f"{value:.3g} s"


def _attack(entries: Published, row: BurstRow) -> str:
    t63, t90 = entries["attack.t63"].reading, entries["attack.t90"].reading
    step = f"from {number_text(row.from_dbfs, 1)} to {number_text(row.to_dbfs, 1)} dBFS"
    if isinstance(t63, Quantity) and isinstance(t90, Quantity) and row.reduction_db is not None:
        sign = "reduction" if row.reduction_db > 0 else "lift"
        ahead = entries["attack.lookahead"].reading
        early = ""
        if isinstance(ahead, Quantity):
            early = f"; the gain starts to move {edited(ahead).number} before the edge"
        depth = f"{abs(row.reduction_db):.1f} dB of {sign}"
        return (
            f"Attack {edited(t63).number} to 63 % and {edited(t90).number} to 90 % of {depth}, {step}{early}."
        )
    ahead = entries["attack.lookahead"].reading
    if isinstance(t63, Unmeasured) and t63.bounded and isinstance(ahead, Quantity):
        return (
            f"Attack to 63 %: done when the edge comes out, {step}; it starts {edited(ahead).number} before."
        )
    return _bound("Attack to 63 %", t63, step)


def _passes(entries: Published, row: BurstRow) -> str:
    over, above = passes_db(row), entries["attack.within_3db"].reading
    if over is None or over < LEAST_OVER_DB or not isinstance(above, Quantity) or above.value <= 0:
        return ""
    return (
        f"At that step the output first rises {over:.1f} dB above where it settles, and stays more than 3 dB "
        f"above for {edited(above).number}."
    )


def _other_frequency(row: BurstRow, static: StaticCurve | None) -> str:
    """Say that bursts and level steps, of unlike frequencies, bring out unlike reduction."""
    after = row.attack.after
    if static is None or row.reduction_db is None or not row.attack.settled:
        return ""
    low, high = static.gain_at(row.from_dbfs), static.gain_at(row.to_dbfs)
    if not (isinstance(low, Quantity) and isinstance(high, Quantity) and isinstance(after, Quantity)):
        return ""
    steps_db = low.value - high.value
    ends_db = [high.value]
    for way in {point.direction for point in static.points}:
        passed = sorted((p.input_dbfs, p.gain_db) for p in static.points if p.direction == way)
        ends_db.append(float(np.interp(row.to_dbfs, *np.transpose(passed))))
    # bursts that begin below rest are reduced by less from there, and end where the steps of a pass do
    if min(abs(row.reduction_db - steps_db), *(abs(after.value - end) for end in ends_db)) < UNLIKE_DB:
        return ""
    return (
        f"{Told.UNLIKE}: at {number_text(row.to_dbfs, 1)} dBFS bursts of {row.carrier_hz:g} Hz are reduced "
        f"by {number_text(row.reduction_db, 1)} dB, level steps by {number_text(steps_db, 1)} dB."
    )


def _answers_changes(row: BurstRow) -> str:
    """Say that the gain goes out at the edges and comes back, where level alone moves nothing."""
    rests = row.attack.before, row.release.after
    if row.reduction_db is None or abs(row.reduction_db) >= SMALLEST_DB:
        return ""
    begins, ends = (
        excursion_db(trace, rest.value) if isinstance(rest, Quantity) else 0.0
        for trace, rest in zip((row.attack_trace, row.release_trace), rests, strict=True)
    )
    told = [
        f"{signed_text(out_db, 1)} dB when {what}"
        for out_db, what in (
            (begins, f"a burst to {number_text(row.to_dbfs, 1)} dBFS begins"),
            (ends, "it ends" if begins else f"a burst to {number_text(row.to_dbfs, 1)} dBFS ends"),
        )
        if out_db
    ]
    return f"{Told.ANSWERS_CHANGES}: {' and '.join(told)}, then back to where it was." if told else ""


def _steps(bursts: Sequence[BurstRow]) -> str:
    found = step_meaning(bursts)
    if found is None:
        return ""
    span = f"from {found.smallest_db:.1f} to {found.largest_db:.1f} dB of gain change"
    if found.meaning == "smoothing after the curve":
        return f"Attack and release do not depend on the step {span}: the reduction is smoothed in dB."
    ratios = f"attack × {found.attack_ratio.value:.2f}, release × {found.release_ratio.value:.2f}"
    if found.meaning == "smoothing before the curve":
        return f"Times depend on the step {span} ({ratios}), as if level were smoothed before the curve."
    return f"Times depend on the step {span} ({ratios}), in a way no single smoother explains."


def _release(entries: Published, row: BurstRow) -> str:
    t63, stages, tau_1, tau_2, share_1, rate, hold = (
        entries[f"release.{name}"].reading
        for name in ("t63", "stages", "tau_1", "tau_2", "tau_1_share", "rate", "hold")
    )
    if not isinstance(t63, Quantity):
        return _bound(
            "Release to 63 %", t63, f"after {seconds(row.hold_s)} at {number_text(row.to_dbfs, 1)} dBFS"
        )
    text = f"Release {edited(t63).number} to 63 %"
    if isinstance(tau_2, Quantity) and isinstance(tau_1, Quantity) and isinstance(share_1, Quantity):
        share = f"{edited(share_1).number} with {edited(tau_1).number}"
        return f"{text}, in two stages: {share}, the rest with {edited(tau_2).number}."
    if isinstance(rate, Quantity):
        t50, t90 = (entries[f"release.{name}"].reading for name in ("t50", "t90"))
        speed = edited(rate).number.lstrip("−")
        line = f"a straight line of {speed}"
        if isinstance(t50, Quantity) and isinstance(t90, Quantity) and t90.value > LINE * t50.value:
            line = f"at first {speed} straight on, slower towards its end"
        elif isinstance(t50, Quantity) and isinstance(t90, Quantity) and not isinstance(hold, Quantity):
            # a line through both times begins where its first half points back to
            line += ", its start rounded" if 2.25 * t50.value - 1.25 * t90.value > ROUNDED * t63.value else ""
        return f"{text}, {line}."
    if isinstance(tau_1, Quantity) and isinstance(stages, Quantity):
        after = f" after a hold of {edited(hold).number}" if isinstance(hold, Quantity) else ""
        if not after and waited_s(hold, t63=t63, stages=stages, tau_1=tau_1):
            after = ", its start rounded"
        return f"{text}, one exponential in dB of {edited(tau_1).number}{after}."
    if row.release_kind is not None and row.release_kind.kind == "other":
        return f"{text}, of a shape that neither a single exponential nor a straight line describes."
    return text + "."


def _memory(entries: Published, lengths: Sequence[BurstRow]) -> str:
    memory = entries["release.memory"].reading
    if not isinstance(memory, Quantity) or len(lengths) < 2:
        return ""
    holds = sorted(row.hold_s for row in lengths)
    span = f"bursts of {seconds(holds[0])} and {seconds(holds[-1])}"
    if memory.low <= 1 <= memory.high or abs(memory.value - 1) < 0.03:
        return f"The release is the same after {span}: no memory."
    return f"The release differs by a factor of {edited(memory).number} between {span}."


def _bound(what: str, reading: Reading, where: str) -> str:
    if isinstance(reading, Unmeasured) and reading.at_most is not None:
        return f"{what}: at most {seconds(reading.at_most)} {where}, the limit of this capture."
    if isinstance(reading, Unmeasured) and reading.at_least:
        return f"{what}: at least {seconds(reading.at_least)} {where}; it was not finished."
    return ""
