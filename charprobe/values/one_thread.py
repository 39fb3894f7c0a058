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
TRIM_THRESHOLD, MMAP_THRESHOLD = -1, -3  # numbers that the C library gives its limits
KEPT_BYTES, LARGEST_BYTES = 64 << 20, 32 << 20  # freed memory that is kept, and the largest array made of it


def on_one_thread(work: Callable[Given, Found]) -> Callable[Given, Found]:
    """Keep linear algebra within `work` on one thread; captures and channels run side by side instead.

    Handing small systems to several threads costs more than it saves.
    """

    @wraps(work)
    def limited(*args: Given.args, **named: Given.kwargs) -> Found:
        _keep_freed_memory()
        with threadpool_limits(1, user_api="blas"):
            return work(*args, **named)

    return limited


@cache
def _keep_freed_memory() -> None:
    """Let the C library, where it can, keep what was freed: new pages cost as much as filling them does."""
    with suppress(AttributeError, OSError, TypeError):  # of another system
        mallopt = ctypes.CDLL(None).mallopt
        mallopt(TRIM_THRESHOLD, KEPT_BYTES)
        mallopt(MMAP_THRESHOLD, LARGEST_BYTES)
