"""The one door to the compiler of sample-by-sample loops."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

Loop = TypeVar("Loop", bound=Callable[..., object])


def compiled(loop: Loop) -> Loop:
    """Compile a loop over samples to machine code, kept on disk where there is a place for it."""
    return cast(Loop, _keep(numba.njit(error_model="numpy")(loop)))


def compiled_sums(loop: Loop) -> Loop:
    """Compile a loop whose sums may be reordered for speed (rounding differs in the last bits)."""
    return cast(Loop, _keep(numba.njit(error_model="numpy", fastmath=True)(loop)))


def _keep(machine_code: Any) -> Any:
    with contextlib.suppress(
        RuntimeError
    ):  # raised where neither the package nor the user's cache is writable
        machine_code.enable_caching()
    return machine_code
