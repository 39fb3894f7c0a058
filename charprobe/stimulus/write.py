"""A stimulus on disk: the WAV to play and the cue sheet beside it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from charprobe.files.output import check_writable, write_text
from charprobe.files.sound.sample_codes import WrittenEncoding
from charprobe.files.sound.sound_file import write_wav_blocks
from charprobe.stimulus.cue_sheet import CueSheet, render_cue_sheet
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render_blocks
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.arrays import Array


@dataclass(frozen=True)
class WrittenStimulus:
    """Where a stimulus was written, and what it holds; `peak_dbfs` is that of the largest sample."""

    wav: Path
    cues: Path
    stimulus: Stimulus
    peak_dbfs: float


def write_stimulus(
    recipe: Recipe,
    wav: str | Path,
    *,
    rate_hz: int = 48_000,
    take: int = 1,
    subtype: WrittenEncoding = "pcm24",
    force: bool = False,
) -> WrittenStimulus:
    """Render a recipe to `wav` and its cue sheet to the same name ending in ``.json``.

    The same recipe, rate, take and format always give the same bytes.

    Parameters
    ----------
    recipe : Recipe
        What to play.
    wav : str or Path
        File to write; its name ends in ``.wav``.
    rate_hz : int
        Sampling rate, 44 100 to 192 000 Hz.
    take : int
        Number the sound carries in its ident, 0 to 255.
    subtype : {"float32", "pcm24"}
        Coding of the samples.
    force : bool
        Whether existing files may be replaced.

    Raises
    ------
    OutputError
        If a file exists and `force` is false, the name does not end in ``.wav``, or it cannot be written.
    """
    wav = Path(wav)
    cues = wav.with_suffix(".json")
    for path in (wav, cues):
        check_writable(path, force=force, sound=path == wav)
    stimulus = lay_out(recipe, rate_hz=rate_hz, take=take)
    peak = 0.0

    def blocks() -> Iterator[Array]:
        nonlocal peak
        for block in render_blocks(stimulus):
            peak = max(peak, float(np.abs(block).max()))
            yield block

    size = (stimulus.length, stimulus.channels)
    sha256 = write_wav_blocks(wav, blocks(), size=size, rate_hz=rate_hz, subtype=subtype, force=force)
    write_text(cues, render_cue_sheet(CueSheet(stimulus, subtype, sha256)), force=force)
    return WrittenStimulus(wav, cues, stimulus, float(20 * np.log10(peak)))
