"""One edge under every definition of attack and release in circulation, so that figures can be compared."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from charprobe.estimators.timing.edge.edge_reader import EdgeReader, read_edge, time_of
from charprobe.estimators.timing.edge.settling import gain_after, gain_before
from charprobe.estimators.timing.trace.gain_trace import GainTrace
from charprobe.values.quantity import Quantity, Reading

PARTS = (
    ("5 % of the change in dB", 0.05),
    ("10 % of the change in dB", 0.1),
    ("50 % of the change in dB", 0.5),
    ("63.2 % of the change in dB", 1 - math.exp(-1)),
    ("66.7 % of the change in dB", 2 / 3),
    ("90 % of the change in dB", 0.9),
    ("95 % of the change in dB", 0.95),
    ("98 % of the change in dB", 0.98),
    ("99 % of the change in dB", 0.99),
)
MARGINS_DB = (1.0, 2.0, 3.0, 4.0, 6.0)
MOVED_DB = 10.0


@dataclass(frozen=True)
class Definition:
    """A definition in words and the time it gives for one edge, in s."""

    words: str
    reading: Reading


def under_every_definition(trace: GainTrace) -> tuple[Definition, ...]:
    """Time one edge under every definition; none where the gain does not settle within the record.

    Parameters
    ----------
    trace : GainTrace
        The edge.

    Returns
    -------
    tuple of Definition
        Shares of the change, 10 to 90 %, last time outside margins of 1 to 6 dB, and a move of 10 dB.
        One pole in dB with time constant tau gives ``-tau ln(1 - p)``, ``2.197 tau``, ``tau ln(change / N)``.
    """
    reader = _reader(trace)
    if reader is None:
        return ()
    shares = {words: reader.part(part) for words, part in PARTS}
    rows = [Definition(words, reading) for words, reading in shares.items()]
    rows.append(_between(shares["10 % of the change in dB"], shares["90 % of the change in dB"]))
    rows += [_outside(reader, margin_db) for margin_db in MARGINS_DB]
    rows.append(_moved(reader))
    return tuple(rows)


def outside_margins(trace: GainTrace, margins_db: Sequence[float]) -> tuple[Definition, ...]:
    """Time one edge by the last time outside some margins alone; none as in `under_every_definition`."""
    reader = _reader(trace)
    return () if reader is None else tuple(_outside(reader, margin_db) for margin_db in margins_db)


def _reader(trace: GainTrace) -> EdgeReader | None:
    before = gain_before(trace)
    after = gain_after(trace, before_db=before.value_db)
    if not after.known or abs(after.value_db - before.value_db) < 10 * math.hypot(
        before.std_db, after.std_db
    ):
        return None
    return read_edge(trace, before=before, after=after)


def _outside(reader: EdgeReader, margin_db: float) -> Definition:
    return Definition(f"last time outside {margin_db:g} dB of the settled gain", reader.within(margin_db))


def _between(first: Reading, last: Reading) -> Definition:
    words = "from 10 % to 90 % of the change in dB"
    if not (isinstance(first, Quantity) and isinstance(last, Quantity)):
        return Definition(words, last if not isinstance(last, Quantity) else first)
    return Definition(words, time_of(last.value - first.value, math.hypot(first.std, last.std)))


def _moved(reader: EdgeReader) -> Definition:
    return Definition(f"until the gain has moved by {MOVED_DB:g} dB", reader.moved(MOVED_DB))
