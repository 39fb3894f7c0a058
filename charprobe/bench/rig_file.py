"""The rig a session is recorded with, kept beside it: whoever goes on later goes on with the same."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated, Literal

from annotated_types import Interval, Len

from charprobe.bench.devices import Patch, SoundDevice, find_device
from charprobe.files.checked_model import checked
from charprobe.files.limits import Words
from charprobe.files.output import write_text
from charprobe.files.untrusted import FileKind, json_content, read_text
from charprobe.stimulus.recipe import MAX_RATE_HZ, MIN_RATE_HZ
from charprobe.values.errors import LiveError

SCHEMA = "charprobe.rig/1"
NAME = "rig.json"
FILE = FileKind(
    called="rig file",
    error=LiveError,
    most_bytes=20_000,
    most_depth=3,
    remedy="move it away: the devices are asked for again",
    schema=SCHEMA,
)
Channels = Annotated[tuple[Annotated[int, Interval(ge=1, le=256)], ...], Len(1, 256)]


@dataclass(frozen=True)
class RigForm:
    """The whole file: names of devices, channels counted from 1."""

    schema: Literal["charprobe.rig/1"]
    play: Words
    record: Words
    rate_hz: Annotated[int, Interval(ge=MIN_RATE_HZ, le=MAX_RATE_HZ)]
    outputs: Channels
    inputs: Channels
    level_db: Annotated[float, Interval(ge=-60, le=0)] = 0.0
    exclusive: bool = False


def load_rig(folder: Path, devices: tuple[SoundDevice, ...]) -> Patch | None:
    """Return the rig a session was begun with; None where none is written down.

    `LiveError` if the file is not valid, or one of its devices is not there.
    """
    path = folder / NAME
    if not path.is_file():
        return None
    form = checked(json_content(read_text(path, FILE), FILE, source=str(path)), RigForm)
    return Patch(
        find_device(form.play, "play", devices),
        find_device(form.record, "record", devices),
        form.rate_hz,
        form.outputs,
        form.inputs,
        form.level_db,
        form.exclusive,
    )


def save_rig(folder: Path, patch: Patch) -> None:
    """Write the rig down, in place of an earlier one."""
    names = {"play": patch.play.name, "record": patch.record.name}
    table = {"schema": SCHEMA} | asdict(patch) | names
    write_text(folder / NAME, json.dumps(table, indent=2, ensure_ascii=False) + "\n", force=True)
