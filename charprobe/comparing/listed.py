"""Names in a sentence: with commas and "and"; channels as ranges."""

from __future__ import annotations

from collections.abc import Sequence

from charprobe.values.wording import joined


def listed(names: Sequence[str]) -> str:
    """Join names with commas and "and"; channels become ranges, such as "Channels 1 to 4 and 6 to 8"."""
    numbers = [name.removeprefix("Channel ") for name in names]
    if len(names) > 1 and all(
        name.startswith("Channel ") and n.isdigit() for name, n in zip(names, numbers, strict=True)
    ):
        return "Channels " + joined(_ranges(sorted(int(number) for number in numbers)))
    return joined(names)


def _ranges(numbers: Sequence[int]) -> list[str]:
    """Word rising numbers, runs of three or more as "first to last"."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return [
        word
        for run in runs
        for word in ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(n) for n in run])
    ]
