"""Results reach the disk whole or not at all, and never over something that is already there unasked."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import secrets
import shutil
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import BinaryIO

from charprobe.files.folder_lock import hold
from charprobe.values.errors import OutputError

_KEPT: ContextVar[frozenset[tuple[int, int]]] = ContextVar("_KEPT", default=frozenset())


@contextmanager
def never_written(*paths: Path) -> Iterator[None]:
    """Keep files that are read from being written over while the context lasts, those that exist.

    `is_kept` tells them by any path.
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


MAX_NAME_BYTES = 80
MOST_TRIES = 9  # to hold a new file: on a disk that holds nothing, nobody clears it away either
LEAST_FREE_BYTES = 4_000_000  # a profile and its figures; who writes more asks for more
MAKER = "charprobe"
WAV_MARK = MAKER.encode() + b"\0"  # the program that wrote a WAV, in its `ISFT` chunk
SOUND_MARKS = (b"ISFT" + len(WAV_MARK).to_bytes(4, "little") + WAV_MARK, b"software=" + MAKER.encode())
MARKED_WITHIN = 512  # bytes of a file: before its sound
SOUND_STARTS = {b"RIFF", b"RIFX", b"RF64", b"BW64", b"riff", b"FORM", b"fLaC", b"OggS", b"caff", b".snd"}
_RESERVED = {"con", "prn", "aux", "nul"} | {f"{port}{n}" for port in ("com", "lpt") for n in range(10)}


def check_writable(path: Path, *, force: bool, sound: bool = False) -> None:
    """Make sure that `path` can be written later on, before any work is spent on its content.

    An existing file may be replaced with `force`; what the command reads never is. Where a WAV will be
    written (`sound`) the name ends in ``.wav``, and only sound that bears one of `SOUND_MARKS` is replaced;
    otherwise no sound is. `OutputError` if any of this, or the folder, stands in the way.
    """
    if sound and path.suffix.lower() != ".wav":
        raise OutputError(f"{path}: will hold a WAV: choose a name that ends in .wav. Nothing was written")
    try:
        _check_target(path, force=force, sound=sound)
        _try_folder(path.parent)
    except OSError as error:
        raise _failure(path, error) from None


def check_space(folder: Path, *, needed_bytes: int) -> None:
    """Raise `OutputError` if the disk of `folder` has less than `needed_bytes` free."""
    free = shutil.disk_usage(folder).free
    if free < needed_bytes:
        raise OutputError(
            f"{folder}: needs {_size(needed_bytes)}, {_size(free)} free: make room or choose another folder. "
            "Nothing was written"
        )


def prepare_folder(folder: Path) -> None:
    """Make sure that `folder` exists and takes files, or raise `OutputError`; made if its parent does."""
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder}: is a file, a folder is needed here: choose another name. File kept")
    if not folder.parent.is_dir():
        raise OutputError(f"{folder}: its parent folder does not exist: create it first. Nothing was written")
    try:
        folder.mkdir(exist_ok=True)
        _try_folder(folder)
    except OSError as error:
        raise _failure(folder, error) from None


def write_text(path: Path, text: str, *, force: bool) -> None:
    """Write `text` as UTF-8 with its line ends unchanged; see `write_with`."""
    write_bytes(path, text.encode("utf-8"), force=force)


def write_texts(folder: Path, texts: Mapping[str, str], *, force: bool) -> tuple[Path, ...]:
    """Write texts under their file names into a folder, once all of them can be written; return the paths."""
    prepare_folder(folder)
    paths = {folder / name: text for name, text in texts.items()}
    for path in paths:
        check_writable(path, force=force)
    for path, text in paths.items():
        write_text(path, text, force=force)
    return tuple(paths)


def write_bytes(path: Path, data: bytes, *, force: bool, sound: bool = False) -> None:
    """Write `data`; see `write_with`."""
    write_with(path, lambda stream: stream.write(data), force=force, sound=sound)


def write_with(path: Path, write: Callable[[BinaryIO], object], *, force: bool, sound: bool = False) -> None:
    """Let `write` fill a new file that takes the name `path` only once it is complete and on the disk.

    Whatever happens meanwhile (an exception, Ctrl-C, a kill, a full disk), `path` is either what it was
    before or the complete new file. After a kill a hidden ``.charprobe-*.part`` file stays behind until the
    next run into that folder clears it away. `write` gets a binary stream, readable, writable and seekable;
    `force` and `sound` are as in `check_writable`, and so is what is refused.
    """
    part: Path | None = None
    try:
        _check_target(path, force=force, sound=sound)
        part, stream = _open_part(path.parent)
        with stream:
            write(stream)
            stream.flush()
            os.fsync(stream.fileno())
            if os.name != "nt":  # held until it has its name: let go before, another run clears it away
                _take_name(part, path, force=force)
        if os.name == "nt":  # pragma: no cover  # an open file takes no name there
            _take_name(part, path, force=force)
    except OSError as error:
        raise _failure(path, error) from None
    finally:
        if part is not None:
            part.unlink(missing_ok=True)


def safe_file_name(name: str) -> str:
    """Turn any text, such as the name a user gave a setting, into a file name for every common system.

    Letters of any script, digits, inner spaces and ``- _ . + =`` stay; the rest becomes ``_``. Whenever
    something had to change, a short code drawn from the original follows, so that two names never meet.

    Examples
    --------
    >>> safe_file_name("Vocal 2")
    'Vocal 2'
    >>> safe_file_name("../50% $wet")
    '50_ _wet-61f49c'
    """
    text = unicodedata.normalize("NFC", name)
    kept = "".join(c if c.isalnum() or c in "-_.+= " else "_" for c in text)
    kept = kept.lstrip("-_. =+").rstrip(". ")
    kept = kept.encode("utf-8", "ignore")[:MAX_NAME_BYTES].decode("utf-8", "ignore").rstrip(". ")
    if kept.split(".")[0].casefold() in _RESERVED:
        kept = f"x{kept}"
    if kept and kept == name:
        return kept
    code = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:6]
    return f"{kept or 'unnamed'}-{code}"


def _check_target(path: Path, *, force: bool, sound: bool) -> None:
    if path.is_dir():
        raise OutputError(f"{path}: is a folder, a file name is needed here. Folder kept")
    if not path.parent.is_dir():
        raise OutputError(
            f"{path.parent}: no such folder: create it, or choose another with --out. Nothing was written"
        )
    if os.path.lexists(path) and not path.is_file():
        raise OutputError(f"{path}: is not an ordinary file: choose another name. Nothing was written")
    if path.exists() and not force:
        raise OutputError(f"{path}: already exists; kept as it is. Choose another name or add --force")
    if is_kept(path):
        raise OutputError(f"{path}: is one of the files read here: choose another name. Kept as it is")
    if not path.exists() or (head := _head(path))[:4] not in SOUND_STARTS:
        return
    if not sound:
        raise OutputError(
            f"{path}: is a sound file and is not replaced by anything else: choose another name. "
            "Kept as it is"
        )
    if not any(mark in head for mark in SOUND_MARKS):
        raise OutputError(
            f"{path}: is a sound file that {MAKER} did not write, perhaps a take that is nowhere else: "
            "choose another name, or delete it yourself. Kept as it is"
        )


def _head(path: Path) -> bytes:
    with path.open("rb") as stream:
        return stream.read(MARKED_WITHIN)


def _open_part(folder: Path) -> tuple[Path, BinaryIO]:
    """Create a new hidden file in `folder`, held while open, so that renaming it later needs no copy."""
    tries = 0
    while True:
        part = folder / f".charprobe-{secrets.token_hex(8)}.part"
        stream: BinaryIO = part.open("x+b")
        held, tries = hold(stream.fileno()), tries + 1
        if part.exists() and (held or tries == MOST_TRIES):  # nobody took it for a part left behind
            return part, stream
        stream.close()
        part.unlink(missing_ok=True)


def _try_folder(folder: Path) -> None:
    """Make sure that a folder takes files, and clear away what a run that was killed left in it."""
    for left in folder.glob(".charprobe-*.part"):
        with contextlib.suppress(OSError), left.open("r+b") as old:
            if hold(old.fileno()):
                left.unlink()
    check_space(folder, needed_bytes=LEAST_FREE_BYTES)
    part, stream = _open_part(folder)
    stream.close()
    part.unlink(missing_ok=True)  # another run may have cleared it away


def _take_name(part: Path, path: Path, *, force: bool) -> None:
    """Give the finished file its name in one step; without `force` only if nobody took it meanwhile."""
    if force:
        part.replace(path.resolve())
    else:
        try:
            os.link(part, path)
        except FileExistsError:
            raise OutputError(
                f"{path}: was created by someone else meanwhile; kept as it is. Run again with another name"
            ) from None
        except OSError:  # a file system without hard links
            _check_target(path, force=False, sound=False)
            part.rename(path)
    with contextlib.suppress(OSError):  # not every system lets a folder be synchronised
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _failure(path: Path, error: OSError) -> OutputError:
    kept = "Nothing was left half-written; what was there before is unchanged"
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return OutputError(f"{path}: the disk is full: make room or choose another folder. {kept}")
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return OutputError(f"{path}: cannot write here (read-only): choose another folder with --out. {kept}")
    if error.errno == errno.ENAMETOOLONG:
        return OutputError(f"{path}: the name is too long for this disk: choose a shorter one. {kept}")
    return OutputError(f"{path}: cannot be written ({error.strerror or error}): choose another place. {kept}")


def _size(count: int) -> str:
    return f"{count / 1e9:.1f} GB" if count >= 1e8 else f"{count / 1e6:.1f} MB"
