"""Small systems are solved on one thread: handing them to several costs more than it saves."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]  # ships no types

Given = ParamSpec("Given")
Found = TypeVar("Found")


def on_one_thread(work: Callable[Given, Found]) -> Callable[Given, Found]:
    """Keep linear algebra within `work` on one thread; captures and channels run side by side instead."""

    @wraps(work)
    def limited(*args: Given.args, **named: Given.kwargs) -> Found:
        with threadpool_limits(1, user_api="blas"):
            return work(*args, **named)

    return limited
