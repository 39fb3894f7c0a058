"""What two passes made of each stage, in tables: numbers of each, what is still missing and why, foretold and delivered."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from tests.benchmarks.zoo.judged import Judged

LONGEST_S = 360.0
GROUPS = ("static", "attack", "release")
CURABLE = ("short-steps", "short-gaps")
NEAR = 2.0  # foretold and delivered intervals should be within this factor


@dataclass(frozen=True)
class Told:
    """Half intervals of a quantity: in the first profile, foretold for the second, and in it."""

    name: str
    unit: str
    now: float | None
    foretold: float
    came: float | None

    @property
    def ratio(self) -> float | None:
        """Delivered over foretold."""
        return None if self.came is None or self.foretold <= 0 else self.came / self.foretold


@dataclass(frozen=True)
class Outcome:
    """What two passes made of a stage.

    `lacking` are (name, cause, reason) of everything without a number in the second profile, `judged` its numbers
    beside the truth, `seconds` the CPU time of it all.
    """

    stage: str
    first: int = 0
    second: int = 0
    length_s: float = 0.0
    slow: bool = False
    gains: bool = True
    lacking: tuple[tuple[str, str, str], ...] = ()
    stops: tuple[str, ...] = ()
    told: tuple[Told, ...] = ()
    judged: tuple[Judged, ...] = ()
    seconds: float = 0.0
    failed: str = ""

    @property
    def missing(self) -> tuple[str, ...]:
        """What has a number in truth, or no truth that is known, and none after two passes for want of time."""
        return tuple(f"{name} ({cause})" for name, cause, _ in self.lacking if cause in CURABLE)

    @property
    def withheld(self) -> tuple[Judged, ...]:
        """Numbers of static curve, attack and release that truth has and the second profile lacks."""
        return tuple(one for one in self.judged if one.kind != "number" and one.group in GROUPS)

    @property
    def good(self) -> bool:
        """Whether the second pass keeps what two passes promise."""
        return not (self.failed or self.stops or self.missing) and (self.slow or self.length_s <= LONGEST_S)

    @property
    def silent(self) -> tuple[Judged, ...]:
        """Numbers outside their intervals without a warning."""
        return tuple(one for one in self.judged if one.silent)

    @property
    def line(self) -> str:
        """All of it on a line."""
        if self.failed:
            return f"{self.stage}: {self.failed.strip().splitlines()[-1]}"
        numbers = [one for one in self.judged if one.kind == "number"]
        ratios = " ".join(
            f"{one.name.replace('static.', 's.').replace('attack.', 'a.').replace('release.', 'r.')}="
            f"{'none' if one.ratio is None else f'{one.ratio:.2f}'}"
            for one in self.told
        )
        lost = "; ".join(f"{one.name}: {one.reason}" for one in self.withheld)
        silent = "; ".join(
            f"{one.name} {one.value:.5g} [{one.low}, {one.high}] for {one.truth[0]:.5g}"
            for one in self.silent
        )
        return (
            f"{self.stage} {self.first}>{self.second} {self.length_s:.0f}s{' slow' if self.slow else ''}"
            f"{'' if self.gains else ' gains-nothing'} cpu {self.seconds:.0f} held {sum(n.covered for n in numbers)}/{len(numbers)} "
            f"missing[{', '.join((*self.missing, *self.stops))}] withheld[{lost}] silent[{silent}] ratios[{ratios}]"
        )


def text(outcomes: list[Outcome]) -> str:
    """All tables."""
    ran = [one for one in outcomes if not one.failed]
    numbers = [n for one in ran for n in one.judged if n.kind == "number"]
    held = sum(n.covered for n in numbers)
    ratios = [(t.name, t.ratio) for one in ran for t in one.told if t.ratio is not None]
    near = sum(1 / NEAR <= ratio <= NEAR for _, ratio in ratios)
    lines = [
        f"{sum(one.good for one in outcomes)} of {len(outcomes)} stages are complete after two passes. "
        f"Intervals of the second pass hold the truth {held} of {len(numbers)} times "
        f"({100 * held / max(1, len(numbers)):.1f} %); {sum(len(one.silent) for one in ran)} numbers are missed without a warning. "
        f"Of {len(ratios)} foretold intervals {near} ({100 * near / max(1, len(ratios)):.0f} %) came within a factor of {NEAR:g}.",
        "",
        "| stage | numbers after quick | after the second pass | its length | still without a number for want of time |",
        "|---|---|---|---|---|",
    ]
    for one in outcomes:
        length = f"{one.length_s:.0f} s{' (slow)' if one.slow else ''}"
        lines.append(
            f"| {one.stage} | {one.first} | {one.second} | {length} | "
            f"{one.failed.strip().splitlines()[-1] if one.failed else ', '.join((*one.missing, *one.stops)) or '–'} |"
        )
    lines += [
        "",
        "Numbers of static curve, attack and release. A slow stage releases to 90 % in more than 5 s.",
        "",
    ]
    return "\n".join([*lines, *_foretold(ran), "", *_reasons(ran), "", *_silent(ran)])


def _foretold(outcomes: list[Outcome]) -> list[str]:
    names = dict.fromkeys(told.name for one in outcomes for told in one.told)
    lines = [
        "Delivered over foretold half intervals:",
        "",
        "| quantity | foretold | came | median | lowest | highest | within a factor of 2 |",
        "|---|---|---|---|---|---|---|",
    ]
    for name in names:
        found = [told for one in outcomes for told in one.told if told.name == name]
        ratios = np.array([told.ratio for told in found if told.ratio is not None])
        if ratios.size:
            near = int(np.sum((ratios >= 1 / NEAR) & (ratios <= NEAR)))
            lines.append(
                f"| `{name}` | {len(found)} | {ratios.size} | {np.median(ratios):.2f} | {ratios.min():.2f} | {ratios.max():.2f} "
                f"| {near} |"
            )
    return lines


def _reasons(outcomes: list[Outcome]) -> list[str]:
    """What truth has and the second pass does not give, by reason."""
    found = Counter((lost.name, lost.reason) for one in outcomes for lost in one.withheld)
    stages = {
        key: [o.stage for o in outcomes if any((w.name, w.reason) == key for w in o.withheld)]
        for key in found
    }
    lines = [
        "What truth has and the second pass does not tell:",
        "",
        "| quantity | reason | stages |",
        "|---|---|---|",
    ]
    lines += [
        f"| `{name}` | {reason} | {', '.join(stages[name, reason])} |"
        for (name, reason), _ in found.most_common()
    ]
    return lines if found else ["Every number that truth has is told."]


def _silent(outcomes: list[Outcome]) -> list[str]:
    found = [one for outcome in outcomes for one in outcome.silent]
    lines = [
        "Missed without a warning:",
        "",
        "| stage | what | measured | interval | truth |",
        "|---|---|---|---|---|",
    ]
    lines += [
        f"| {one.stage} | {one.name} | {one.value:.5g} | {one.low:.5g} to {one.high:.5g} | {one.truth[0]:.5g} |"
        for one in found
        if one.low is not None and one.high is not None
    ]
    return lines if found else []
