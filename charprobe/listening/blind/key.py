"""The sealed key of a blind pack: which sound is which, and how it is read back."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal, get_args

from charprobe.files.strict_json import Json, parse_strict
from charprobe.values.errors import CharprobeError
from charprobe.values.wording import shortened

KEY_SCHEMA = "charprobe.blind-key/1"
MAX_BYTES, MAX_DEPTH, MOST_TRIALS = 1_000_000, 6, 1000
Sound = Literal["dry", "processed"]
Side = Literal["left", "right"]


class BlindError(CharprobeError):
    """A blind pack cannot be made, or a result does not belong to its key."""


@dataclass(frozen=True)
class Trial:
    """What one trial really plays; in a control, left and right are the same sound.

    `middle` is the side that the middle sound was drawn from.
    """

    left: Sound
    right: Sound
    middle: Side

    @property
    def control(self) -> bool:
        """Whether there is nothing to tell apart."""
        return self.left == self.right


@dataclass(frozen=True)
class Key:
    """Everything that the pack hides.

    Attributes
    ----------
    pack : str
        Code that the pack, the key and every result carry.
    nonce : str
        Random, so that the seal cannot be guessed by trying all keys.
    trials : tuple of Trial
        In playing order.
    sounds : dict of str to str
        File name in the pack to "dry" or "processed".
    sources : dict of str to str
        SHA-256 of the two files the pack was cut from.
    start_s, length_s : float
        The excerpt.
    level : float
        Probability of passing by guessing that was fixed beforehand.
    """

    pack: str
    nonce: str
    trials: tuple[Trial, ...]
    sounds: dict[str, str]
    sources: dict[str, str]
    start_s: float
    length_s: float
    level: float

    def as_bytes(self) -> bytes:
        """Return the key file; its SHA-256 is the seal."""
        body = {"schema": KEY_SCHEMA, **asdict(self)}
        return (json.dumps(body, indent=2, sort_keys=True, allow_nan=False) + "\n").encode()


def seal_of(key_file: bytes) -> str:
    """Return the seal of a key file: 64 hex digits."""
    return hashlib.sha256(key_file).hexdigest()


def read_key(path: Path) -> tuple[Key, str]:
    """Read a key file.

    Returns
    -------
    Key, str
        The key, and the seal of the file as it lies on disk.

    Raises
    ------
    BlindError
        If it is no key file.
    """
    body, raw = read_object(path, KEY_SCHEMA)
    try:
        return _checked(body), seal_of(raw)
    except (KeyError, TypeError, ValueError) as error:
        raise BlindError(
            f"{path}: is damaged ({shortened(str(error), 80)}): use the key file as it was written"
        ) from None


def _checked(body: dict[str, Json]) -> Key:
    """Build the key from a file that nobody vouches for."""
    if set(body) != {"schema", *Key.__dataclass_fields__}:
        raise ValueError("other entries than a key has")
    rows = body["trials"]
    if not isinstance(rows, list) or not 1 <= len(rows) <= MOST_TRIALS:
        raise ValueError("trials")
    for name in ("pack", "nonce"):
        if not isinstance(body[name], str):
            raise ValueError(name)
    for name in ("sounds", "sources"):
        table = body[name]
        if not isinstance(table, dict) or not all(isinstance(value, str) for value in table.values()):
            raise ValueError(name)
    for name, low, high in (("start_s", 0, 1e6), ("length_s", 0, 1e6), ("level", 1e-6, 0.5)):
        value = body[name]
        if not isinstance(value, int | float) or isinstance(value, bool) or not low <= value <= high:
            raise ValueError(name)
    trials = tuple(_trial(row) for row in rows)
    return Key(trials=trials, **{name: body[name] for name in Key.__dataclass_fields__ if name != "trials"})


def _trial(row: Json) -> Trial:
    trial = Trial(**row)
    sounds, sides = get_args(Sound), get_args(Side)
    if trial.left not in sounds or trial.right not in sounds or trial.middle not in sides:
        raise ValueError("a trial")
    return trial


def read_object(path: Path, schema: str) -> tuple[dict[str, Any], bytes]:
    """Read a JSON file of a known kind, and its bytes; `BlindError` if it is something else."""
    try:
        with path.open("rb") as stream:
            raw = stream.read(MAX_BYTES + 1)
    except OSError as error:
        raise BlindError(f"{path}: cannot be read ({error.strerror}): check the name") from None
    if len(raw) > MAX_BYTES:
        raise BlindError(f"{path}: larger than {MAX_BYTES} bytes, so it is no {schema} file: check the name")
    try:
        body = parse_strict(raw.decode("utf-8"), max_depth=MAX_DEPTH)
    except ValueError:
        raise BlindError(f"{path}: is not JSON: give the file as it was written, unedited") from None
    if not isinstance(body, dict) or body.get("schema") != schema:
        raise BlindError(f"{path}: is no {schema} file: check which file belongs here")
    return body, raw
