"""Sounds that can be switched between: of one length, equally loud, coded for browsers."""

from __future__ import annotations

import json
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from charprobe.files import output
from charprobe.files.sound.flac import flac_bytes
from charprobe.files.sound.source import MemoryCapture
from charprobe.listening.match import measure_levels
from charprobe.values.arrays import Array
from charprobe.values.quantity import Unmeasured
from charprobe.values.wording import literal

HIGHEST_PEAK = 10 ** (-1 / 20)  # true peak of every sound
SEED = 1
PLAYED = "sounds.js"


@dataclass(frozen=True)
class Sound:
    """One channel of sound, its name, and its place among the settings; None for the dry one."""

    name: str
    series: int | None
    samples: Array


@dataclass(frozen=True)
class Track:
    """A sound made as loud as its fellows: the gain that took (dB), and its file."""

    name: str
    series: int | None
    gain_db: float
    code: bytes


@dataclass(frozen=True)
class Listening:
    """What can be heard in one player: the dry sound first, then the settings, all at one rate.

    `heading` and `about` say what it is and where it comes from, shown literally; `notes` what to mind of
    single settings. Its files lie in `folder`, below the page's, which also tells players apart.
    """

    tracks: tuple[Track, ...]
    rate_hz: int
    heading: str
    about: str
    notes: tuple[str, ...] = ()
    folder: str = "sound"

    @property
    def played(self) -> str:
        """The page's own file of sounds, as an address from the page."""
        return f"./{self.folder}/{PLAYED}"

    @property
    def file_names(self) -> tuple[str, ...]:
        """Names of the sounds' files, below the page's folder."""
        names = (output.safe_file_name(track.name) for track in self.tracks)
        return tuple(f"{self.folder}/{number:02d} {name}.flac" for number, name in enumerate(names))

    def script(self) -> str:
        """Return the sounds as JSON: name, number of the setting, and the file in base 64."""
        rows = [
            {
                "name": literal(track.name),
                "series": track.series,
                "code": b64encode(track.code).decode("ascii"),
            }
            for track in self.tracks
        ]
        return json.dumps(rows, ensure_ascii=True).replace("<", "\\u003c").replace("&", "\\u0026")

    def write(self, folder: Path, *, force: bool) -> tuple[Path, ...]:
        """Write the sounds below a page's `folder`: each as a file, and all for the page's player.

        `OutputError` if a file exists and `force` is false, or cannot be written.
        """
        output.prepare_folder(folder / self.folder)
        paths = []
        for name, track in zip(self.file_names, self.tracks, strict=True):
            path = folder / name
            output.write_bytes(path, track.code, force=force, sound=True)
            paths.append(path)
        script = f'(globalThis.pageSounds ??= {{}})["{self.folder}"] = {self.script()};\n'
        output.write_text(folder / self.played, script, force=force)
        return (*paths, folder / self.played)


def equally_loud(sounds: Sequence[Sound], *, rate_hz: int) -> tuple[Track, ...]:
    """Turn sounds, cut to the shortest, down to one loudness and code them.

    Loudness is that of ITU-R BS.1770, or RMS where that cannot be told.
    """
    length = min(sound.samples.size for sound in sounds)
    cut = [sound.samples[:length] for sound in sounds]
    levels = [measure_levels(MemoryCapture(one, rate_hz=rate_hz, name="sound")) for one in cut]
    loud = [level.loudness_lufs for level in levels if not isinstance(level.loudness_lufs, Unmeasured)]
    if len(loud) < len(levels):
        loud = [level.rms_dbfs for level in levels]
    target = min(
        one - max(0.0, 20 * float(np.log10(level.true_peak / HIGHEST_PEAK)) if level.true_peak > 0 else 0.0)
        for one, level in zip(loud, levels, strict=True)
    )
    rng = np.random.default_rng(SEED)
    tracks = []
    for sound, samples, one in zip(sounds, cut, loud, strict=True):
        gain_db = target - one
        code = flac_bytes(samples * 10 ** (gain_db / 20), rate_hz=rate_hz, rng=rng)
        tracks.append(Track(sound.name, sound.series, gain_db, code))
    return tuple(tracks)
