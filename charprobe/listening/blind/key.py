"""The sealed key of a blind pack: which sound is which, and how it is read back."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Annotated, Literal

from annotated_types import Interval, Len

from charprobe.files.checked_model import checked
from charprobe.files.untrusted import FileKind, decoded, json_content, read_bytes
from charprobe.values.errors import CharprobeError

KEY_SCHEMA = "charprobe.blind-key/1"
Seconds = Annotated[float, Interval(ge=0, le=1e6)]
Sound = Literal["dry", "processed"]
Side = Literal["left", "right"]


class BlindError(CharprobeError):
    """A blind pack cannot be made, or a result does not belong to its key."""


KEY_FILE = FileKind(
    called="key of a blind pack",
    error=BlindError,
    most_bytes=1_000_000,
    most_depth=6,
    remedy="check which file belongs here",
    mend="use the key file as it was written",
    schema=KEY_SCHEMA,
)


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
    trials: Annotated[tuple[Trial, ...], Len(1, 1000)]
    sounds: dict[str, str]
    sources: dict[str, str]
    start_s: Seconds
    length_s: Seconds
    level: Annotated[float, Interval(ge=1e-6, le=0.5)]

    def as_bytes(self) -> bytes:
        """Return the key file; its SHA-256 is the seal."""
        body = {"schema": KEY_SCHEMA, **asdict(self)}
        return (json.dumps(body, indent=2, sort_keys=True, allow_nan=False) + "\n").encode()


@dataclass(frozen=True)
class KeyForm(Key):
    """The whole file."""

    schema: Literal["charprobe.blind-key/1"]


def seal_of(key_file: bytes) -> str:
    """Return the seal of a key file: 64 hex digits."""
    return hashlib.sha256(key_file).hexdigest()


def read_key(path: Path) -> tuple[Key, str]:
    """Return a key, and the seal of its file as it lies on disk; `BlindError` if it is no key file."""
    raw = read_bytes(path, KEY_FILE)
    text = decoded(raw, KEY_FILE, source=str(path))
    form = checked(json_content(text, KEY_FILE, source=str(path)), KeyForm)
    return Key(**{item.name: getattr(form, item.name) for item in fields(Key)}), seal_of(raw)
