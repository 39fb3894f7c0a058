"""Fades at the edges of a file, seen in the sync markers: the same frequencies pass at different levels."""

from __future__ import annotations

import numpy as np

from charprobe.placing.take import Take
from charprobe.profile.entry import Health
from charprobe.stimulus.marker import FALL_SHARE, Marker, sync_value
from charprobe.stimulus.timetable import Span
from charprobe.values.cut import Array
from charprobe.values.wording import number_text

PIECES = 8  # of each chirp; equal pieces of time are equal bands of frequency
LEAST_FADE_DB = 0.35  # of the outermost piece; slow releases and filters lower it by 0.12 dB
EVEN = 0.95  # correlation of a fade with a straight line; a gate that opens has less


def check_marker_edges(take: Take) -> list[Health]:
    """Notice a faded opening or closing marker: codes ``start-missing`` and ``truncated``.

    The opening marker rises through the frequencies the closing one falls and rises through, so a device's
    response cancels between them; what is left at the file's edge is a fade.
    """
    stimulus = take.stimulus
    opening = _gains_db(take, "opening", stimulus.opening, 0.0, 1.0)
    fall = _gains_db(take, "closing", stimulus.closing, 0.0, FALL_SHARE)
    rise = _gains_db(take, "closing", stimulus.closing, FALL_SHARE, 1.0)
    if opening is None or fall is None or rise is None:
        return []
    found = []
    # a gate or an automatic gain bends one part of the closing marker, a fade neither
    fade_in_db = min(_fade_db(opening - fall[::-1]), _fade_db(opening - rise))
    if fade_in_db > LEAST_FADE_DB:
        text = _text(take, "opening", "in", fade_in_db)
        found.append(Health("start-missing", "warn", text, channel=take.channel, start_s=0.0))
    fade_out_db = _fade_db((rise - fall[::-1])[::-1])
    if fade_out_db > LEAST_FADE_DB:
        text = _text(take, "closing", "out", fade_out_db)
        end_s = take.source.frames / take.source.rate_hz
        found.append(Health("truncated", "warn", text, channel=take.channel, start_s=end_s))
    return found


def _text(take: Take, which: str, way: str, fade_db: float) -> str:
    return (
        f"The {which} marker fades {way} ({take.label}): its edge is {number_text(fade_db, 1)} dB below its "
        "middle. A fade was drawn over the edge of the file, or the recorder drew one. Levels beside it are "
        "the fade's. Export again without fades. Everything is given, marked"
    )


def _fade_db(gains_db: Array) -> float:
    """How far an even fade has the first piece below the middle of all; 0 where there is none."""
    line = np.arange(gains_db.size)
    even = gains_db[-1] > gains_db[0] and np.corrcoef(line, gains_db)[0, 1] > EVEN
    return float(np.median(gains_db) - gains_db[0]) if even else 0.0


def _gains_db(take: Take, marker: Marker, span: Span, first: float, last: float) -> Array | None:
    """Gain of each piece of a marker between two shares of its length; None where some is cut off."""
    start, length = span.start + first * span.length, (last - first) * span.length
    cut = take.cut(start, start + length)
    if cut.samples.size < 0.999 * length / cut.step - 2 or not np.all(np.isfinite(cut.samples)):
        return None
    played = sync_value(marker, cut.position() - span.start, rate_hz=take.stimulus.rate_hz)
    edges = np.linspace(0, played.size, PIECES + 1).astype(int)[:-1]
    heard, wanted = (np.add.reduceat(values**2, edges) for values in (cut.samples, played))
    return np.asarray(10 * np.log10(np.maximum(heard, 1e-20) / wanted))
