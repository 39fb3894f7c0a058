"""Work of a fit side by side, on arrays that all of it shares."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")
Made = TypeVar("Made")


def in_threads(work: Callable[[Item], Made], items: Iterable[Item], threads: int) -> Iterator[Made]:
    """What work makes of each item, in their order; so many at a time, which let each other run.

    What is not begun when no more is asked for is never done.
    """
    if threads == 1:
        yield from map(work, items)
        return
    with ThreadPoolExecutor(threads) as pool:
        yield from pool.map(work, items)
