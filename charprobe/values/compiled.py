"""The one door to the compiler of sample-by-sample loops."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

from charprobe.values.cache_folder import writable_cache

Loop = TypeVar("Loop", bound=Callable[..., object])


def compiled(loop: Loop) -> Loop:
    """Compile a loop over samples to machine code, kept in the user's cache folder if it can be written."""
    return cast(Loop, _keep(numba.njit(error_model="numpy")(loop)))


def compiled_sums(loop: Loop) -> Loop:
    """Compile a loop whose sums may be reordered for speed (rounding differs in the last bits)."""
    return cast(Loop, _keep(numba.njit(error_model="numpy", fastmath=True)(loop)))


def compiled_in_place(loop: Loop) -> Loop:
    """Compile a loop that makes no arrays of its own; not counting who holds those it gets, it is faster."""
    uncounted: Any = {"_nrt": False}  # an option that its stubs do not know
    return cast(Loop, _keep(numba.njit(error_model="numpy", **uncounted)(loop)))


def compiled_inside(loop: Loop) -> Loop:
    """Compile a step of such a loop into whatever calls it: to pass it many arrays costs more than it."""
    uncounted: Any = {"_nrt": False}
    return cast(Loop, _keep(numba.njit(error_model="numpy", inline="always", **uncounted)(loop)))


def _keep(machine_code: Any) -> Any:
    """Have the compiler keep its code in the user's cache."""
    settings: Any = numba.config
    named = settings.CACHE_DIR  # what the user set: NUMBA_CACHE_DIR
    folder = writable_cache(Path(named) if named else None)
    if folder is not None:
        settings.CACHE_DIR = str(folder)
        try:
            machine_code.enable_caching()
        finally:
            settings.CACHE_DIR = named
    return machine_code
