"""The user's folder of what can be made again: compiled loops, levels of what is played."""

from __future__ import annotations

import os
import tempfile
from functools import cache
from pathlib import Path

from platformdirs import user_cache_path

from charprobe import __version__


@cache
def writable_cache(folder: Path | None = None) -> Path | None:
    """Return this version's folder in the user's cache, or another one; None where nothing can be written.

    Outside the package, where uninstalling would leave it behind.
    """
    folder = folder or user_cache_path("charprobe", appauthor=False, version=__version__)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        tempfile.TemporaryFile(dir=folder).close()
    except OSError:
        return None
    return folder


def kept_bytes(name: str) -> bytes:
    """Return what was kept under a plain name, empty if nothing was or it cannot be read."""
    folder = writable_cache()
    try:
        return b"" if folder is None else (folder / name).read_bytes()
    except OSError:
        return b""


def keep_bytes(name: str, data: bytes, *, most: int) -> None:
    """Keep `data` under a plain name if that can be done; of names with the same ending at most so many."""
    folder = writable_cache()
    if folder is None:
        return
    place = folder / name
    try:
        handle, part = tempfile.mkstemp(dir=folder)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
            Path(part).replace(place)
        except OSError:
            Path(part).unlink(missing_ok=True)
            raise
        alike = [path for path in folder.iterdir() if path.suffix == place.suffix]
        for old in sorted(alike, key=lambda path: path.stat().st_mtime)[:-most]:
            old.unlink(missing_ok=True)
    except OSError:
        return
