"""The path of a sound file: there, readable, holding something, and of a kind that can be read."""

from __future__ import annotations

import contextlib
import stat
from collections.abc import Iterator
from io import BufferedReader
from pathlib import Path

from charprobe.files.sound.containers import ACCEPTED, HEAD_BYTES, Container, container_of
from charprobe.values.errors import SoundFileError

_CHECK = f"check the name and the folder; accepted are {ACCEPTED}"


def size_of(path: Path) -> int:
    """Size in bytes; `SoundFileError` if `path` is no ordinary file or is empty."""
    try:
        found = path.stat()
    except (FileNotFoundError, NotADirectoryError, ValueError):  # the last of characters that no name has
        raise SoundFileError(f"{path}: no such file: {_CHECK}") from None
    except OSError as error:  # a name too long for the disk, a folder that may not be searched
        raise SoundFileError(f"{path}: cannot be reached ({error.strerror}): check the path") from None
    if stat.S_ISDIR(found.st_mode):
        raise SoundFileError(f"{path}: is a folder; give the path of one sound file in it ({ACCEPTED})")
    if not stat.S_ISREG(found.st_mode):
        raise SoundFileError(f"{path}: not an ordinary file: {_CHECK}")
    if found.st_size == 0:
        raise SoundFileError(
            f"{path}: 0 bytes (not downloaded yet, or the recorder never wrote to it?): wait for it, or "
            "record again. The file was not changed"
        )
    return found.st_size


@contextlib.contextmanager
def opened(path: Path) -> Iterator[BufferedReader]:
    """Open for reading; whatever the system objects to becomes a `SoundFileError`."""
    try:
        with path.open("rb") as stream:
            yield stream
    except PermissionError:
        raise SoundFileError(
            f"{path}: may not be read: allow reading it for your user, or copy it. The file was not changed"
        ) from None
    except OSError as error:
        raise SoundFileError(
            f"{path}: cannot be read ({error.strerror or error}): check the disk or the connection to it"
        ) from None


def kind_of(path: Path) -> Container:
    """Name the container of a file; `SoundFileError` if it is one that cannot be read here."""
    with opened(path) as stream:
        container = container_of(stream.read(HEAD_BYTES))
    if container.reader == "none":
        raise SoundFileError(
            f"{path}: {container.name} file: {container.why}. Accepted are {ACCEPTED}: record or export the "
            "capture in one of these. The file was not changed"
        )
    return container
