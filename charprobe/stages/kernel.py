"""The one door to the compiler of sample-by-sample loops."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

import numba

Loop = TypeVar("Loop", bound=Callable[..., object])


def compiled(loop: Loop) -> Loop:
    """Compile a loop over samples to machine code, kept on disk between runs."""
    return cast(Loop, numba.njit(cache=True, error_model="numpy")(loop))


def compiled_sums(loop: Loop) -> Loop:
    """Compile a loop whose sums may be reordered for speed (rounding differs in the last bits)."""
    return cast(Loop, numba.njit(cache=True, fastmath=True, error_model="numpy")(loop))
