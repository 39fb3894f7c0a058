"""Paths that a command reads: what lies there outlives the command, even with --force."""

from __future__ import annotations

import os
from pathlib import Path

import click


class InputPath(click.Path):
    """A path that is read; as long as the command runs, nothing is written over it."""

    def __init__(self, *, and_cues: bool = False) -> None:
        super().__init__(path_type=Path)
        self.and_cues = and_cues  # a stimulus WAV stands for the cue sheet beside it

    def convert(
        self, value: str | os.PathLike[str], param: click.Parameter | None, ctx: click.Context | None
    ) -> Path:
        """Return the path, kept from being written over until the command's context closes."""
        from charprobe.files.output import never_written

        path = Path(os.fsdecode(super().convert(value, param, ctx)))
        if ctx is not None:
            beside = (path.with_suffix(".json"),) if self.and_cues else ()
            ctx.with_resource(never_written(path, *beside))
        return path


PATH = click.Path(path_type=Path)
INPUT = InputPath()
STIMULUS = InputPath(and_cues=True)
RATE = click.option(
    "--rate",
    "rate_hz",
    type=click.IntRange(44_100, 192_000),
    default=48_000,
    show_default=True,
    help="Sampling rate in Hz.",
)
