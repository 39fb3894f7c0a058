"""What work asks of the machine: one thread for small systems, and memory that is kept for the next array."""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from contextlib import suppress
from functools import cache, wraps
from typing import ParamSpec, TypeVar

from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]  # ships no types

Given = ParamSpec("Given")
Found = TypeVar("Found")
Limits = tuple[tuple[int, int], ...]  # of freed memory that is kept, and of arrays made of it
TRIM_THRESHOLD, MMAP_THRESHOLD, MMAP_MAX = -1, -3, -4  # numbers that the C library gives its limits
SMALL: Limits = (TRIM_THRESHOLD, 64 << 20), (MMAP_THRESHOLD, 32 << 20)
WHOLE_CAPTURES: Limits = (TRIM_THRESHOLD, 1 << 30), (MMAP_MAX, 0)


def on_one_thread(work: Callable[Given, Found]) -> Callable[Given, Found]:
    """Keep linear algebra within `work` on one thread; captures and channels run side by side instead.

    Handing small systems to several threads costs more than it saves.
    """

    @wraps(work)
    def limited(*args: Given.args, **named: Given.kwargs) -> Found:
        keep_freed_memory(SMALL)
        with threadpool_limits(1, user_api="blas"):
            return work(*args, **named)

    return limited


@cache
def keep_freed_memory(limits: Limits) -> None:
    """Let the C library, where it can, keep what was freed: new pages cost as much as filling them does."""
    with suppress(AttributeError, OSError, TypeError):  # of another system
        for limit in limits:
            ctypes.CDLL(None).mallopt(*limit)
