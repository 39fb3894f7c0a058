"""The outcome of the zoo as tables."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from tests.benchmarks.zoo.judged import WIDER, Judged, Outcome

OF_GROUP, OF_ONE_KIND = 12, 2
BY_CHANCE = math.erfc(WIDER * 1.96 / math.sqrt(2))  # share of normal errors beyond 95 % intervals widened so


def line(outcome: Outcome) -> str:
    """One stage in one line."""
    if outcome.failed:
        return f"{outcome.stage}: FAILED {outcome.failed.strip().splitlines()[-1]}"
    silent = sum(item.silent for item in outcome.judged)
    grave = sum(item.silent and item.grave for item in outcome.judged)
    return (
        f"{outcome.stage}: {len(outcome.judged)} judged, {silent} silently wrong ({grave} beyond the goal), "
        f"{len(outcome.contradictions)} contradictions, {' '.join(outcome.warnings) or 'no warning'}"
    )


def text(outcomes: Sequence[Outcome]) -> str:
    """All tables as Markdown."""
    items = [item for outcome in outcomes for item in outcome.judged]
    parts = [
        _groups(items, sum(len(outcome.contradictions) for outcome in outcomes), len(outcomes)),
        "### Silently wrong by more than the goal\n\n" + _worst(items),
        "### Contradictions\n\n"
        + ("\n".join(f"- {o.stage}: {c}" for o in outcomes for c in o.contradictions) or "none"),
        "### Withheld although there is a number\n\n" + _withheld(items),
        "### Warnings\n\nNothing is wrong with these captures: what is not about the stage is a false alarm.\n\n"
        + _warnings(outcomes),
    ]
    failed = [f"- {o.stage}: `{o.failed.strip().splitlines()[-1]}`" for o in outcomes if o.failed]
    return "\n\n".join(parts + (["### Failed\n\n" + "\n".join(failed)] if failed else []))


def _groups(items: Sequence[Judged], denied: int, stages: int) -> str:
    head = (
        "| group | numbers | inside the goal | interval holds the truth | bounds right | withheld | wrong | of these silent | "
        "silent and beyond the goal | by chance | silent, outside interval, value off by more than the goal |\n"
        "|---|---|---|---|---|---|---|---|---|---|---|"
    )
    groups = list(dict.fromkeys(item.group for item in items))
    rows = [_row(group, [item for item in items if item.group == group]) for group in groups]
    rows.append(_row("**all**", items))
    return (
        f"{stages} stages. Contradictions: {denied}. A number is wrong if the truth lies outside its interval widened by "
        "half, or outside the interval by more than the goal; silent if no warning speaks of its group. By chance: so many would "
        "be wrong if every interval were that of 95 % of a normal error. The last column counts what is outside its interval and "
        "whose value is off by more than the goal, however wide the interval.\n\n" + "\n".join([head, *rows])
    )


def _row(name: str, items: Sequence[Judged]) -> str:
    numbers = [item for item in items if item.kind == "number"]
    aimed = [item for item in numbers if item.allowed is not None]
    spanned = [item for item in numbers if item.low is not None]
    bounds = [item for item in items if item.kind == "bound"]
    missed = [item for item in numbers if item.missed]
    cells = (
        name,
        len(numbers),
        _share(sum(item.inside_goal for item in aimed), len(aimed)),
        _share(sum(item.covered for item in spanned), len(spanned)),
        f"{sum(not item.wrong_bound for item in bounds)} of {len(bounds)}",
        sum(item.kind == "withheld" for item in items),
        len(missed),
        sum(item.silent for item in missed),
        sum(item.silent and item.grave for item in missed),
        f"{BY_CHANCE * len(spanned):.0f}",
        sum(item.off for item in numbers),
    )
    return "| " + " | ".join(str(cell) for cell in cells) + " |"


def _share(count: int, of: int) -> str:
    return f"{100 * count / of:.1f} % of {of}" if of else "–"


def _worst(items: Sequence[Judged]) -> str:
    found = [item for item in items if item.silent and item.grave]
    found += [item for item in items if item.wrong_bound]
    found.sort(key=_size, reverse=True)
    rows = ["| stage | quantity | published | truth | error over the goal |", "|---|---|---|---|---|"]
    seen: Counter[str] = Counter()
    for item in sorted(found, key=lambda item: " rows" in item.group):
        one = f"{item.stage} {item.group}"
        if seen[one] < OF_ONE_KIND and seen[item.group] < OF_GROUP:
            seen.update((one, item.group))
            cells = (item.stage, f"{item.group}: {item.name}", _published(item), _true(item), _over(item))
            rows.append("| " + " | ".join(cells) + " |")
    more = f"\n\nAt most {OF_ONE_KIND} of a stage and {OF_GROUP} of a group are shown, of {len(found)}."
    return "\n".join(rows) + more if found else "none"


def _size(item: Judged) -> float:
    return item.error / item.allowed if item.allowed and item.kind == "number" else 0.0


def _published(item: Judged) -> str:
    if item.kind == "bound":
        return f"≥ {item.low:.5g}" if item.low is not None else f"≤ {item.high:.5g}"
    if item.low is None or item.high is None:
        return f"{item.value:.5g}, no interval"
    return f"{item.value:.5g} [{item.low:.5g}, {item.high:.5g}]"


def _true(item: Judged) -> str:
    low, high = item.truth
    return f"{low:.5g}" if high - low < 1e-9 else f"{low:.5g} to {high:.5g}"


def _over(item: Judged) -> str:
    return f"{_size(item):.1f}" if _size(item) else "–"


def _withheld(items: Sequence[Judged]) -> str:
    counted = Counter((item.group, item.reason[:110]) for item in items if item.kind == "withheld")
    stages: dict[tuple[str, str], set[str]] = {}
    for item in items:
        if item.kind == "withheld":
            stages.setdefault((item.group, item.reason[:110]), set()).add(item.stage)
    rows = [
        f"- {group}, {count} numbers of {len(stages[group, reason])} stages: {reason}"
        for (group, reason), count in counted.most_common(25)
    ]
    return "\n".join(rows) or "none"


def _warnings(outcomes: Sequence[Outcome]) -> str:
    stages: dict[str, list[str]] = {}
    for outcome in outcomes:
        for code in dict.fromkeys(outcome.warnings):
            stages.setdefault(code, []).append(outcome.stage)
    return "\n".join(f"- {code}: {', '.join(names)}" for code, names in sorted(stages.items())) or "none"
