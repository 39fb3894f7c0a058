"""A sound copy of a WAV file whose header is wrong; the file itself is never touched."""

from __future__ import annotations

from pathlib import Path
from typing import BinaryIO

from charprobe.files.output import check_space, check_writable, write_with
from charprobe.files.sound.sound_path import kind_of, opened, size_of
from charprobe.files.sound.wav_header import WavLayout, read_wav_layout, wav_header
from charprobe.values.errors import SoundFileError

PIECE_BYTES = 1 << 20


def write_repaired_copy(path: str | Path, out: str | Path, *, force: bool) -> WavLayout:
    """Copy the samples of a WAV file bit for bit behind a header that tells their real length.

    For recordings whose header was never finished, overflowed, or promises more than there is. The damaged
    file is only read; `out` appears only when complete. Returns what was found in it: how long its sound
    really is. `SoundFileError` if there is nothing to repair, or no samples can be found; `OutputError` if
    `out` cannot be written.
    """
    path, out = Path(path), Path(out)
    size = size_of(path)
    if kind_of(path).reader != "wav":
        raise SoundFileError(f"{path}: only WAV files can be repaired; ask the recorder to recover the take")
    with opened(path) as stream:
        layout = read_wav_layout(stream, size_bytes=size, source=str(path))
    if layout.length == "as written":
        raise SoundFileError(f"{path}: its header is right, there is nothing to repair. Nothing was written")
    if out.exists() and out.samefile(path):
        raise SoundFileError(f"{out}: is the damaged file itself, which stays as it is: choose another name")
    check_writable(out, force=force, sound=True)
    header = wav_header(
        encoding=layout.subtype, rate_hz=layout.rate_hz, channels=layout.channels, frames=layout.frames
    )
    data_bytes = layout.frames * layout.frame_bytes
    if out.parent.is_dir():
        check_space(out.parent, needed_bytes=len(header) + data_bytes)

    def write(target: BinaryIO) -> None:
        target.write(header)
        with opened(path) as stream:
            stream.seek(layout.data_start)
            for done in range(0, data_bytes, PIECE_BYTES):
                target.write(stream.read(min(PIECE_BYTES, data_bytes - done)))
        target.write(b"\0" * (data_bytes % 2))

    write_with(out, write, force=force, sound=True)
    return layout
