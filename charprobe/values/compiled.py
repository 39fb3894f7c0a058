"""The one door to the compiler of sample-by-sample loops, which let other threads run."""

from __future__ import annotations

from collections.abc import Callable
from hashlib import blake2b
from pathlib import Path
from types import ModuleType
from typing import Any, TypeVar, cast

import numba

from charprobe.values.cache_folder import writable_cache

Loop = TypeVar("Loop", bound=Callable[..., object])


def compiled(loop: Loop) -> Loop:
    """Compile a loop over samples to machine code, kept in the user's cache folder if it can be written."""
    return cast(Loop, _keep(numba.njit(error_model="numpy", nogil=True)(loop)))


def compiled_sums(loop: Loop) -> Loop:
    """Compile a loop whose sums may be reordered for speed (rounding differs in the last bits)."""
    return cast(Loop, _keep(numba.njit(error_model="numpy", nogil=True, fastmath=True)(loop)))


def compiled_in_place(loop: Loop) -> Loop:
    """Compile a loop that makes no arrays of its own; not counting who holds those it gets, it is faster."""
    uncounted: Any = {"_nrt": False}  # an option that its stubs do not know
    return cast(Loop, _keep(numba.njit(error_model="numpy", nogil=True, **uncounted)(loop)))


def compiled_inside(loop: Loop) -> Loop:
    """Compile a step of such a loop into whatever calls it: to pass it many arrays costs more than it."""
    uncounted: Any = {"_nrt": False}
    return cast(Loop, _keep(numba.njit(error_model="numpy", inline="always", **uncounted)(loop)))


def _keep(machine_code: Any) -> Any:
    """Have the compiler keep its code in the user's cache, under the state of all that it is made of."""
    settings: Any = numba.config
    named = settings.CACHE_DIR  # what the user set: NUMBA_CACHE_DIR
    folder = writable_cache(Path(named) if named else None)
    if folder is not None:
        settings.CACHE_DIR = str(folder / _state_of(_files(machine_code.py_func)))
        try:
            machine_code.enable_caching()
        finally:
            settings.CACHE_DIR = named
    return machine_code


def _files(loop: Any) -> set[Path]:
    """Files that machine code is made of: of the loop, those it calls, our modules that it names, and this.

    The compiler itself looks at the first alone.
    """
    found, ours, loops = {Path(__file__)}, loop.__module__.partition(".")[0], [loop]
    for one in loops:
        found.add(Path(one.__code__.co_filename))
        for named in map(one.__globals__.get, one.__code__.co_names):
            called = getattr(named, "py_func", None)
            if called is not None and called not in loops:
                loops.append(called)
            elif isinstance(named, ModuleType) and named.__file__ and named.__name__.startswith(f"{ours}."):
                found.add(Path(named.__file__))
    return found


def _state_of(files: set[Path]) -> str:
    state = [(str(file), file.stat().st_mtime_ns, file.stat().st_size) for file in sorted(files)]
    return blake2b(repr(state).encode(), digest_size=8).hexdigest()
