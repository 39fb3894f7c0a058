"""Takes on the disk: nothing is ever thrown away, and a log tells what was decided of each."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from charprobe.files.output import prepare_folder
from charprobe.values.errors import OutputError

COMING, ASIDE, LOG = "coming in", "set aside", "takes.jsonl"


@dataclass(frozen=True)
class TakeFolder:
    """Where the takes of a session come in, are kept, and are set aside.

    Attributes
    ----------
    folder : Path
        Folder of the session file.
    """

    folder: Path

    def coming(self, file: Path) -> Path:
        """Return the path a take is recorded to before anybody has decided about it."""
        prepare_folder(self.folder / COMING)
        return self.folder / COMING / file.name

    def rescue(self) -> tuple[Path, ...]:
        """Set aside what an interrupted run left coming in; return where it is now."""
        folder = self.folder / COMING
        left = sorted(folder.iterdir()) if folder.is_dir() else []
        return tuple(self.set_aside(path, "partial") for path in left)

    def keep(self, coming: Path, file: Path) -> None:
        """Give a take its place; it never replaces one."""
        prepare_folder(file.parent)
        if file.exists():
            raise OutputError(f"{file}: a take is kept there already; it stays, and the new one is {coming}")
        coming.rename(file)

    def set_aside(self, path: Path, why: str) -> Path:
        """Move a take to where rejected and partial ones are kept."""
        prepare_folder(self.folder / ASIDE)
        number = 1
        while (target := self.folder / ASIDE / f"{path.stem} {why} {number}{path.suffix}").exists():
            number += 1
        return path.rename(target)

    def log(self, what: Mapping[str, object]) -> None:
        """Append one decision to the log."""
        row = {"time": datetime.now(UTC).isoformat(timespec="seconds"), **what}
        with (self.folder / LOG).open("a", encoding="utf-8") as stream:
            stream.write(json.dumps(row, ensure_ascii=False) + "\n")
