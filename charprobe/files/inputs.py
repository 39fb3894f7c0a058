"""What a command reads it never writes over, whatever the path looks like."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path

_KEPT: ContextVar[frozenset[tuple[int, int]]] = ContextVar("_KEPT", default=frozenset())


@contextmanager
def never_written(*paths: Path) -> Iterator[None]:
    """Keep files from being written over while the context lasts: `is_kept` tells them by any path.

    Parameters
    ----------
    *paths : Path
        Files that are read; those that do not exist are left out.
    """
    token = _KEPT.set(_KEPT.get() | {found for path in paths if (found := _identity(path)) is not None})
    try:
        yield
    finally:
        _KEPT.reset(token)


def is_kept(path: Path) -> bool:
    """Tell whether a path leads to a file that must stay: by a link, another spelling or another case too."""
    return _identity(path) in _KEPT.get()


def _identity(path: Path) -> tuple[int, int] | None:
    """Device and number of the file itself; None where there is none or it cannot be asked."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino
