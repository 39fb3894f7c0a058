"""Measure the colour and dynamics stages built into a recording path from captures of known stimuli.

The names of ``__init__.pyi`` are the library's front door, each loaded when it is asked for;
``docs/library.md`` is a tour.
"""

from __future__ import annotations

import ast
from functools import cache
from importlib import import_module
from pathlib import Path

__version__ = "0.1.0"


@cache
def _homes() -> dict[str, str]:
    """Return the module that each name of the front door comes from."""
    doors = ast.parse(Path(__file__).with_suffix(".pyi").read_text(encoding="utf-8")).body
    return {
        name.name: str(door.module)
        for door in doors
        if isinstance(door, ast.ImportFrom)
        for name in door.names
    }


def __getattr__(name: str) -> object:
    """Load a name of the front door from where it lives."""
    if name == "__all__":
        return sorted(_homes())
    if name not in _homes():
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_homes()[name]), name)


def __dir__() -> list[str]:
    """List what is loaded and what can be."""
    return sorted({*globals(), *_homes()})
