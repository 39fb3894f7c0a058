"""A folder that a run was killed in may be written again; one that was finished may not, unasked."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

MARK_NAME = ".charprobe.unfinished"


@contextmanager
def may_start_over(folder: Path, *, force: bool) -> Iterator[bool]:
    """Tell whether files in `folder` may be replaced: if forced, or if the run that made them never ended.

    A mark lies in the folder while inside, unless something else was there before; it stays after a kill.
    """
    mark = folder / MARK_NAME
    ours = mark.exists() or not any(folder.iterdir())
    if ours:
        mark.touch()
    yield force or ours
    mark.unlink(missing_ok=True)
