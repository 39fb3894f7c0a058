"""Takes on the disk: nothing is ever thrown away, and a log tells what was decided of each."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from charprobe.values.errors import OutputError

COMING, ASIDE, LOG = "coming in", "set aside", "takes.jsonl"


@dataclass(frozen=True)
class TakeFolder:
    """Where the takes of a session come in, are kept, and are set aside: the folder of its file."""

    folder: Path

    def coming(self, file: Path) -> Path:
        """Return the path a take is recorded to before anybody has decided about it."""
        place = self.folder / COMING / file.name
        with _written(place):
            place.parent.mkdir(parents=True, exist_ok=True)
        return place

    def rescue(self) -> tuple[Path, ...]:
        """Set aside what an interrupted run left coming in; return where it is now."""
        folder = self.folder / COMING
        left = sorted(folder.iterdir()) if folder.is_dir() else []
        return tuple(self.set_aside(path, "partial") for path in left)

    def keep(self, coming: Path, file: Path) -> None:
        """Give a take its place; it never replaces one."""
        with _written(file, kept=coming):
            if file.exists():
                raise OutputError(f"{file}: a take is kept there already; it stays, the new one is {coming}")
            file.parent.mkdir(parents=True, exist_ok=True)
            shutil.move(coming, file)  # may be on another disk

    def set_aside(self, path: Path, why: str) -> Path:
        """Move a take to where rejected and partial ones are kept."""
        number, folder = 1, self.folder / ASIDE
        while (target := folder / f"{path.stem} {why} {number}{path.suffix}").exists():
            number += 1
        with _written(target, kept=path):
            folder.mkdir(parents=True, exist_ok=True)
            return path.rename(target)

    def log(self, what: Mapping[str, object]) -> None:
        """Append one decision to the log."""
        row = {"time": datetime.now(UTC).isoformat(timespec="seconds"), **what}
        with _written(self.folder / LOG), (self.folder / LOG).open("a", encoding="utf-8") as stream:
            stream.write(json.dumps(row, ensure_ascii=False) + "\n")


@contextlib.contextmanager
def _written(path: Path, *, kept: Path | None = None) -> Iterator[None]:
    """Turn what the system refuses into one message that says where the take is."""
    try:
        yield
    except OSError as error:
        where = f". The take is {kept}" if kept is not None and os.access(kept, os.F_OK) else ""
        raise OutputError(
            f"{path}: cannot be written ({error.strerror or error}): was the folder moved, deleted or locked "
            f"meanwhile? Make it writable and run the same command again{where}"
        ) from None
