"""A lock on an output folder that the system lets go of when its holder ends, however it ends."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from charprobe.values.errors import SessionError

LOCK_NAME = ".charprobe.lock"


@contextmanager
def folder_lock(folder: Path) -> Iterator[None]:
    """Hold the folder while inside; `SessionError` if another run holds it.

    A lock file left by a run that crashed does not count; one that ends, by an error or by being stopped,
    takes its own away.
    """
    path = folder / LOCK_NAME
    with path.open("a+", encoding="utf-8") as stream:
        if not hold(stream.fileno()) or not _is(path, stream.fileno()):
            stream.seek(0)
            holder = stream.read(40).strip() or "unknown"
            raise SessionError(
                f"{folder}: in use by another run (process {holder}): wait until it ends, or choose another "
                "folder. Nothing was changed"
            )
        stream.seek(0)
        stream.truncate()
        stream.write(f"{os.getpid()}\n")
        stream.flush()
        try:
            yield
        finally:
            with contextlib.suppress(OSError):  # not every system lets an open file go
                path.unlink()


def _is(path: Path, descriptor: int) -> bool:
    """Tell whether an open file is still the one of that name: the run before may just have ended."""
    try:
        return os.path.samestat(path.stat(), os.fstat(descriptor))
    except OSError:
        return False


def hold(descriptor: int) -> bool:
    """Try to lock an open file; the system unlocks it when it is closed, or the process ends."""
    try:
        if os.name == "nt":  # pragma: no cover
            import msvcrt  # noqa: PLC0415  # only on Windows

            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]  # not there elsewhere
        else:
            import fcntl  # noqa: PLC0415  # not on Windows

            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
