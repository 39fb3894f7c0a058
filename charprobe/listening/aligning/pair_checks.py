"""What makes two files unfit to be a pair, said before any work on them."""

from __future__ import annotations

import numpy as np

from charprobe.files.sound.frames import Frames, frame_blocks
from charprobe.values.errors import CharprobeError
from charprobe.values.wording import number_text

MIN_COMMON_S = 0.5
_SILENT = 10 ** (-100 / 20)


class PairingError(CharprobeError):
    """Two files cannot be brought together as a dry and a processed version of one sound."""


def check_shapes(dry: Frames, processed: Frames) -> None:
    """Refuse files whose rates or channels do not fit, or that are too short, by a `PairingError`."""
    check_rates(dry, processed)
    if 1 < dry.channels != processed.channels:
        raise PairingError(
            f"the dry file has {dry.channels} channels, the processed one {processed.channels}: export the "
            "channels that belong together (or a mono dry file), then run again. Both files kept as they are"
        )
    shortest = min(dry.frames, processed.frames) / dry.rate_hz
    if shortest < MIN_COMMON_S:
        raise PairingError(
            f"the shorter file lasts {shortest:.2f} s; at least {MIN_COMMON_S:g} s are needed to bring the "
            "two together: use a longer excerpt"
        )


def check_rates(dry: Frames, processed: Frames) -> None:
    """Refuse files of different sampling rates by a `PairingError`."""
    if dry.rate_hz != processed.rate_hz:
        raise PairingError(
            f"the dry file has {dry.rate_hz} Hz, the processed one {processed.rate_hz} Hz: export both at "
            "one sampling rate, or run again with --convert-rate, which converts the faster one down. Both "
            "files kept as they are"
        )


def check_level(name: str, source: Frames) -> None:
    """Refuse a file, called `name`, of silence or of values that are no numbers by a `PairingError`."""
    peak = 0.0
    for block in frame_blocks(source):
        if not np.isfinite(block).all():
            raise PairingError(
                f"the {name} file holds values that are no numbers: export it again. File kept"
            )
        peak = max(peak, float(np.abs(block).max(initial=0.0)))
    if peak < _SILENT:
        found = "digital silence"
        if peak > 0:
            found = f"never louder than {number_text(20 * float(np.log10(peak)), 0)} dBFS"
        raise PairingError(f"the {name} file is {found}: check that the right track was exported. File kept")


def different(found: str) -> PairingError:
    """Return the error that says that two files cannot be laid upon each other, and what showed it."""
    return PairingError(
        f"the two files do not hold the same sound, or it repeats itself too evenly to be placed: {found}. "
        "Check that the processed file was made from this dry file; of steady or evenly repeated tones and "
        "beats use a passage in which something happens once. Both files kept as they are"
    )
