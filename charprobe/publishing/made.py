"""Files that need not be made again: sets of them are stamped with a hash of what they show."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from charprobe import __version__
from charprobe.files import output


def key_of(*shown: object) -> str:
    """Return a hash of everything that is shown, and of the version that shows it."""
    return hashlib.sha256(repr((__version__, *shown)).encode("utf-8", "backslashreplace")).hexdigest()


@dataclass(frozen=True)
class Made:
    """A set of files, and what they are to be made from now: `key` is `key_of` it.

    In `stamp` it is written down what they were made from; they lie in its folder or below it.
    """

    stamp: Path
    key: str

    def there(self) -> tuple[Path, ...] | None:
        """Return the files if an earlier run made them from the same and nobody touched them since."""
        try:
            key, *lines = self.stamp.read_text(encoding="utf-8").splitlines()
            paths = tuple(self.stamp.parent / line.split(" ", 2)[2] for line in lines)
            same = key == self.key and lines == [self._line(path) for path in paths]
        except (OSError, ValueError, IndexError):
            return None
        return paths if same else None

    def keep(self, paths: Iterable[Path]) -> tuple[Path, ...]:
        """Write down that `paths` have been made, and return them."""
        made = tuple(paths)
        output.write_text(self.stamp, "\n".join([self.key, *map(self._line, made)]) + "\n", force=True)
        return made

    def _line(self, path: Path) -> str:
        state = path.stat()
        return f"{state.st_size} {state.st_mtime_ns} {path.relative_to(self.stamp.parent).as_posix()}"
