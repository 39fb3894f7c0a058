"""How far apart two curves lie, point by point."""

from __future__ import annotations

import numpy as np

from charprobe.comparing.curve import FEWEST, Curve
from charprobe.comparing.equivalence import RISK, Gap, Verdict, quantile
from charprobe.comparing.margins import Margin

ALIKE = 0.5  # by which conditions may differ: levels in dB, tones in Hz, times in ms


def curve_gap(first: Curve, second: Curve, *, margin: Margin, tests: int) -> Gap | None:
    """Compare two curves where both have been measured; None without enough shared places or conditions.

    The result is the largest difference, second less first, with its own interval. "same" needs every point
    shown inside the margin, and both curves to end at one place; "different" needs one shown outside, its
    risk shared among the points.
    """
    pairs = zip(first.conditions, second.conditions, strict=True)
    if any(abs(one - other) > ALIKE for one, other in pairs):
        return None
    low = max(first.place[0], second.place[0])
    high = min(first.place[-1], second.place[-1])
    place = first.place[(first.place >= low - 1e-6) & (first.place <= high + 1e-6)]
    if place.size < FEWEST:
        return None
    values, stds = (
        [np.interp(place, curve.place, column) for curve, column in columns]
        for columns in (
            ((first, first.value_db), (second, second.value_db)),
            ((first, first.std_db), (second, second.std_db)),
        )
    )
    value, std = values[1] - values[0], np.hypot(*stds)
    size = np.abs(value)
    whole = abs(first.place[-1] - second.place[-1]) <= first.same_end
    verdict: Verdict = "cannot tell"
    if whole and bool((size + quantile(1 - RISK / tests) * std < margin.size).all()):
        verdict = "same"
    elif bool((size - quantile(1 - RISK / (tests * place.size)) * std > margin.size).any()):
        verdict = "different"
    worst = int(np.argmax(size))
    reach = quantile(1 - RISK / 2) * float(std[worst])
    return Gap(float(value[worst]), float(value[worst]) - reach, float(value[worst]) + reach, verdict)
