"""Sentences a reviewer can print, each drawn from the verdicts of a comparison and from nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from itertools import combinations

import numpy as np

from charprobe.comparing.colour_words import Values, colour_sentence, coloured, colourless
from charprobe.comparing.comparison import Difference, in_sentence
from charprobe.comparing.curves import CURVES
from charprobe.comparing.listed import listed
from charprobe.values.editors_digits import edited
from charprobe.values.quantity import Quantity, Reading, Unmeasured, is_told
from charprobe.values.wording import display_unit, number_text

KEY = (
    "colour.thd_at_reference",
    "colour.h2_at_reference",
    "colour.h3_at_reference",
    "distortion",
    "static.threshold",
    "static.slope",
    "static.knee_width",
    "static.makeup_gain",
    "attack.t63",
    "release.t63",
    "release.t90",
    "release.stages",
    "response.tilt",
    "response",
    "noise.a_weighted",
    "path.latency",
)
"""Quantities and curves that sentences speak of, in this order."""
WHOLE = (
    "static curve",
    *KEY,
    "attack trace",
    "release trace",
    "bass distortion",
    "treble distortion",
    "noise spectrum",
)
"""The same with what only tells how alike things are: where it differs, a quantity says it better."""

MOST_PAIRS = 6  # of subjects told about one by one; with more, only what they share and who stands out
FEWEST_FOR_OUTLIER = 4
FEWEST_FOR_ENDS = 3
ANCHORED = "static curve, anchored"
TOLD_OF_COLOUR = ("colour.", "distortion", "bass distortion", "treble distortion")
TOLD_OF_A_GROUP = ("static", "attack", "release")  # that share a curve: in sentences of their own
SPREAD = (
    ("static.threshold", "static.threshold", "threshold"),
    ("static.ratio", "static.slope", "ratio"),
    ("attack.t63", "attack.t63", "attack"),
    ("release.t63", "release.t63", "release"),
)
"""Of many settings: a reading, what tells whether two differ in it, and its word."""
FAST = {"attack.t63": ("attack", "attacks"), "release.t63": ("release", "releases")}


def sentences_on(
    labels: Sequence[str], differences: Sequence[Difference], values: Values, *, tones: Sequence[str] = ()
) -> tuple[str, ...]:
    """Return what the differences allow to say, colour first.

    `labels` are those of the subjects, by number; `values` their readings, repeats combined; `tones` the
    reference tones that colour was looked for at, in words.
    """
    table = {(item.name, item.first, item.second): item for item in differences}
    pairs = list(combinations(range(len(labels)), 2))
    few = len(pairs) <= MOST_PAIRS
    groups = [group for group in _alike(range(len(labels)), ANCHORED, table) if len(group) > 1]
    lines = [colour_sentence(labels, values, tones=tones), _dynamics(labels, table, values)]
    lines += _outliers(labels, table)
    shown = coloured(labels, values)
    for group in groups:
        lines += [_share_sentence(group, labels, table), *_timing(group, labels, table)]
    by_pair = {
        pair: [item for item in differences if (item.first, item.second) == pair and item.gap is not None]
        for pair in pairs
    }
    for cluster in _grouped(range(len(labels)), lambda a, b: _all_same(by_pair[(a, b)])):
        if len(cluster) > 1:
            lines.append(_no_larger(cluster, labels, by_pair[(cluster[0], cluster[1])]))
    plain = set(colourless(values))
    told_apart = pairs if few else list(combinations(shown, 2))[:MOST_PAIRS]
    if told_apart and not few:
        count = f"{len(told_apart)} of {len(pairs)} pairs"
        lines.append(f"Told one by one are settings that both add colour, {count}; the tables hold all.")
    for pair in told_apart:
        told: tuple[str, ...] = TOLD_OF_A_GROUP if any(set(pair) <= set(group) for group in groups) else ()
        if set(pair) <= plain:  # "no colour" stands beside it: what differs is ripple, which has a table
            told += TOLD_OF_COLOUR
        lines.append(_differ([d for d in by_pair[pair] if not d.name.startswith(told)], labels))
    return tuple(line for line in lines if line)


ByPair = dict[tuple[str, int, int], Difference]


def _alike(members: Iterable[int], name: str, table: ByPair) -> list[list[int]]:
    """Sort subjects into groups in which every two have the verdict "same" for one quantity or curve."""
    return _grouped(members, lambda a, b: _verdict(table, name, a, b) == "same")


def _grouped(members: Iterable[int], alike: Callable[[int, int], bool]) -> list[list[int]]:
    """Sort subjects into groups in which every two are alike; some are groups of one."""
    groups: list[list[int]] = []
    for index in members:
        for group in groups:
            if all(alike(member, index) for member in group):
                group.append(index)
                break
        else:
            groups.append([index])
    return groups


def _verdict(table: ByPair, name: str, first: int, second: int) -> str:
    item = table.get((name, min(first, second), max(first, second)))
    return item.verdict if item else "cannot tell"


def _apart_by_number(table: ByPair, name: str, first: int, second: int) -> bool:
    item = table.get((name, min(first, second), max(first, second)))
    return item is not None and item.gap is not None and item.verdict == "different"


def _share_sentence(group: Sequence[int], labels: Sequence[str], table: ByPair) -> str:
    names = listed([labels[index] for index in group])
    pairs = [table[(ANCHORED, *pair)] for pair in combinations(group, 2)]
    spans = [item.span for item in pairs if item.span is not None]
    low, high = max(span[0] for span in spans), min(span[1] for span in spans)
    within = f"(within {pairs[0].margin_text} from {number_text(low, 0)} to {number_text(high, 0)} dBFS)"
    none = table.get(("static.threshold", group[0], group[1]))
    if none is not None and none.verdict == "both none":
        start = f"{names} reduce no gain: their static curves are straight {within}"
    else:
        start = f"{names} share one static curve {within}"
    firsts = [cluster[0] for cluster in _alike(group, "static curve", table)]
    moved = [table[("static curve", firsts[0], other)] for other in firsts[1:]]
    shifts = [
        f"{labels[item.second]} re {labels[item.first]} {item.text}"
        for item in moved
        if item.verdict == "different"
    ]
    return f"{start} apart from gain: {'; '.join(shifts)}." if shifts else f"{start}."


def _timing(group: Sequence[int], labels: Sequence[str], table: ByPair) -> Iterator[str]:
    """Say which members of a group are as fast as each other, and how the others differ from the first."""
    for name, (verb, verbs) in FAST.items():
        clusters = _alike(group, name, table)
        for cluster in clusters:
            if len(cluster) > 1:
                margin = table[(name, cluster[0], cluster[1])].margin_text
                yield f"{listed([labels[i] for i in cluster])} {verb} equally fast (within {margin})."
        for other in clusters[1:]:
            item = table.get((name, clusters[0][0], other[0]))
            if item is not None and item.gap is not None and item.verdict == "different":
                slower = item.gap.value > 1
                ends = (item.gap.value, item.gap.low, item.gap.high)
                low, factor, high = sorted(ends if slower else (1 / end for end in ends))
                word = "slower" if slower else "faster"
                yield (
                    f"{labels[item.second]} {verbs} {number_text(factor, 1)} times {word} than "
                    f"{labels[item.first]} ({_ends(low, high)})."
                )


def _ends(low: float, high: float) -> str:
    """Word an interval with decimals enough for two ends that differ, or as a number where two do not do."""
    decimals = next((n for n in (1, 2) if round(low, n) != round(high, n) and (round(low, n) or not low)), 0)
    return (
        f"{number_text(low, decimals)} to {number_text(high, decimals)}" if decimals else number_text(low, 2)
    )


def _outliers(labels: Sequence[str], table: ByPair) -> Iterator[str]:
    """Say who alone differs from all others while these are the same among themselves."""
    count = len(labels)
    if count < FEWEST_FOR_OUTLIER:
        return
    told: set[int] = set()
    for name in (*KEY, "static curve"):
        for one in range(count):
            if name == "static curve" and one in told:
                continue  # its make-up gain says so already
            others = [index for index in range(count) if index != one]
            apart = all(_apart_by_number(table, name, one, other) for other in others)
            if apart and all(_verdict(table, name, *pair) == "same" for pair in combinations(others, 2)):
                told |= {one} if name == "static.makeup_gain" else set()
                what = in_sentence(name)
                yield f"{labels[one]} stands out in {what}: {_apart(name, one, others, table)}."


def _apart(name: str, one: int, others: Sequence[int], table: ByPair) -> str:
    """Word how far `one` lies from the others, as the range of its intervals against each of them."""
    items = [table[(name, min(one, other), max(one, other))] for other in others]
    ratio = items[0].margin.scale == "ratio"
    ends: list[float] = []
    for item in items:
        assert item.gap is not None  # only such are told
        pair = (item.gap.low, item.gap.high)
        turned = item.first == one  # the gap is second re first
        ends += [1 / end if ratio else -end for end in pair] if turned else list(pair)
    if ratio:
        return f"{_ends(min(ends), max(ends))} times that of the others"
    scale, unit = display_unit(items[0].unit, items[0].margin.size)
    low, high = min(ends) * scale, max(ends) * scale
    word = "above" if low > 0 else "below"
    near, far = sorted((abs(low), abs(high)))
    return f"{_ends(near, far)} {unit} {word} the others"


def _all_same(found: Sequence[Difference]) -> bool:
    return bool(found) and all(item.verdict == "same" for item in found)


def _no_larger(cluster: Sequence[int], labels: Sequence[str], found: Sequence[Difference]) -> str:
    key = [item for item in found if item.name in WHOLE]
    largest = ", ".join(f"{in_sentence(item.name)} {item.margin_text}" for item in key)
    return f"{listed([labels[index] for index in cluster])}: no difference larger than {largest}."


def _differ(found: Sequence[Difference], labels: Sequence[str]) -> str:
    differing = [item for item in found if item.verdict == "different" and item.name in KEY]
    if not differing:
        return ""
    what = ", ".join(f"{in_sentence(item.name)} {_how_far(item)}" for item in differing)
    return f"{labels[differing[0].second]} re {labels[differing[0].first]}: {what}."


def _how_far(item: Difference) -> str:
    """Word a difference; of a curve, which may cross the other, how far it goes where it goes farthest."""
    if item.name not in CURVES or item.gap is None:
        return item.short
    return f"up to {item.short.lstrip('+−')} {'higher' if item.gap.value > 0 else 'lower'}"


def _dynamics(labels: Sequence[str], table: ByPair, values: Values) -> str:
    """Say of many settings between which ends thresholds, ratios and times lie, and whose they are."""
    parts: list[str] = []
    if len(labels) < FEWEST_FOR_ENDS:
        return ""
    for name, verdicts, word in SPREAD:
        readings = [
            one if not name.startswith("static") or (slope is not None and is_told(slope)) else None
            for one, slope in zip(values.get(name, ()), values.get("static.slope", ()), strict=False)
        ]  # of who does not compress a threshold is only how far up it was looked at
        found = _outermost(readings, partial(_verdict, table, verdicts))
        low, high = (end(found, key=lambda i: _size(found[i]), default=0) for end in (min, max))
        if _verdict(table, verdicts, low, high) != "different":
            continue
        ends = []
        for end in (low, high):
            apart = (_verdict(table, verdicts, end, other) == "different" for other in found if other != end)
            ends.append(f"{edited(found[end]).number}{f' ({labels[end]})' if all(apart) else ''}")
        parts.append(f"{word} from {' to '.join(ends)}")
    return f"Dynamics: {'; '.join(parts)}." if parts else ""


def _outermost(readings: Sequence[Reading | None], verdict: Callable[[int, int], str]) -> dict[int, Reading]:
    """Return readings by subject, of bounds those that lie outside all others; {} where ends are unknown.

    Who has no such thing at all is left out.
    """
    found: dict[int, Reading] = {i: one for i, one in enumerate(readings) if isinstance(one, Quantity)}
    known = tuple(found)
    for i, one in enumerate(readings):
        if not isinstance(one, Unmeasured) or any(verdict(i, j) in ("none", "both none") for j in known):
            continue
        sizes = [_size(other) for other in found.values()]
        above = one.at_least is not None and one.at_least > max(sizes, default=np.inf)
        below = one.at_most is not None and one.at_most < min(sizes, default=-np.inf)
        if not above and not below:
            return {}
        found[i] = one
    return found


def _size(reading: Reading) -> float:
    """Return the value of a reading, or its bound."""
    if isinstance(reading, Quantity):
        return reading.value
    bound = reading.at_least if reading.at_least is not None else reading.at_most
    return np.nan if bound is None else bound
