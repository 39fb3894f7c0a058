"""What a command says beside its answer, on stderr: a bar or a line a part, or nothing."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from itertools import count
from pathlib import Path

import click

FEWEST_COLUMNS, MOST_COLUMNS = 60, 120


def is_quiet() -> bool:
    """Tell whether the user asked for answers and warnings alone."""
    context = click.get_current_context(silent=True)
    return bool(context and context.find_root().params.get("quiet"))


def tell(text: str) -> None:
    """Say what is going on, unless it shall be quiet; warnings are said by `click.echo` in any case."""
    if not is_quiet():
        click.echo(text, err=True)


def tell_files(what: str, paths: Sequence[Path]) -> None:
    """Say in one line which files were made."""
    if len(paths) == 1:
        tell(f"{what}: {paths[0]}")
    elif paths:
        folders = sorted({str(path.parent) for path in paths}, key=len)
        tell(f"{what}: {len(paths)} files in {folders[0]}")


def columns(most: int) -> int:
    """Return how wide lines may be: as the terminal, at most `most`; that too where there is none."""
    return max(FEWEST_COLUMNS, min(most, shutil.get_terminal_size((most, 24)).columns))


def say(text: str, *, err: bool = False, indent: int = 4) -> None:
    """Print an answer; on a terminal long lines are broken between words, in a pipe they stay whole."""
    if not (sys.stderr if err else sys.stdout).isatty():
        click.echo(text, err=err)
        return
    width = columns(MOST_COLUMNS)
    for line in text.splitlines():
        click.echo(
            textwrap.fill(line, width, subsequent_indent=" " * indent, break_on_hyphens=False), err=err
        )


def print_json(answer: object) -> None:
    """Print an answer for machines, strict JSON."""
    import json

    click.echo(json.dumps(answer, indent=2, ensure_ascii=False, allow_nan=False))


def say_cautions() -> None:
    """Show what to mind before any sound."""
    from charprobe.stimulus.cautions import CAUTIONS

    say(CAUTIONS, err=True, indent=12)


def _named(part: str | None) -> str:
    """Name a part beside the bar; before the first is done there is none."""
    return part or ""


@contextmanager
def progress(length: int, label: str) -> Iterator[Callable[[str], None]]:
    """Give what is to be called with the name of each part done: a bar, or lines where it is piped."""
    if is_quiet():
        yield lambda part: None
    elif sys.stderr.isatty():
        with click.progressbar(length=length, label=label, file=sys.stderr, item_show_func=_named) as bar:
            yield lambda part: bar.update(1, part)
    else:
        number = count(1)
        yield lambda part: tell(f"{label} {next(number)}/{length}: {part}")
