"""Attack and release: their times against each other and against their trace."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise, product

import numpy as np

from charprobe.measuring.consistency.readings import Contradiction, Readings
from charprobe.values.running_median import running_median

WIDEST = 2.0  # width of an interval over its number from which it says nothing but a bound
LATER, LEFT_AGAIN = 1.5, 0.4  # t63 after which a trace may not fall below this share of its change again
PASSED = {"t63": 1.0, "within_4db": 8.0, "within_3db": 6.0, "within_2db": 4.0}
"""Times after which most of a change is done, if the change is larger than so many dB."""
FEWEST_POINTS, END_POINTS = 40, 9  # of a gain trace


def ordered_times(read: Readings) -> Iterator[Contradiction]:
    """Deny times of one edge that are not in the order of their shares."""
    for edge in ("attack", "release"):
        names = [f"{edge}.t{share}" for share in (50, 63, 90)]
        times = [(name, time) for name in names if (time := read.number(name)) is not None]
        if any(one.value > other.value for (_, one), (_, other) in pairwise(times)):
            text = ", ".join(f"{name[-3:]} {milliseconds(time.value)}" for name, time in times)
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
                f"Anything from {milliseconds(max(time.low, 0.0))} to {milliseconds(time.high)} is as likely",
                time.high,
            )


def times_of_trace(read: Readings) -> Iterator[Contradiction]:
    """Deny times of an edge that its gain trace leaves again: a spike had crossed, not the movement."""
    if "gain_trace" not in read.curves:
        return
    edges = np.array(read.curves["gain_trace"].columns["edge"])
    for (passed, least_db), edge in product(PASSED.items(), ("attack", "release")):
        time = read.number(f"{edge}.{passed}")
        rows = np.flatnonzero(read.column("timing", f"{edge}_{passed}_s") == (time and time.value))
        if time is None or not rows.size:
            continue
        chosen = (edges == edge) & (read.column("gain_trace", "step") == rows[0])
        time_s, gain = (read.column("gain_trace", name)[chosen] for name in ("time_s", "gain_db"))
        if time_s.size < FEWEST_POINTS:
            continue
        start, end = float(np.median(gain[time_s < 0])), float(np.median(gain[-END_POINTS:]))
        done = (gain[time_s > LATER * time.value] - start) / (end - start)
        if abs(end - start) > least_db and done.size > END_POINTS:
            least = float(running_median(done, width=5, beyond="edge").min())
            if least < LEFT_AGAIN:
                whole = [n for n in read.published if n.startswith(f"{edge}.") and "train" not in n]
                yield Contradiction(
                    tuple(whole) if passed == "t63" else (f"{edge}.{passed}",),
                    f"The gain trace is back at {100 * least:.0f} % of the change after the {edge} is said "
                    f"to be past most of it ({passed} {milliseconds(time.value)})",
                )


def milliseconds(seconds: float) -> str:
    """Return a time in ms, three figures."""
    return f"{1e3 * seconds:.3g} ms"
