"""Both markers set against each other: a level that rose between them was not the stage's doing."""

from __future__ import annotations

import numpy as np

from charprobe.placing.take import Take
from charprobe.profile.entry import Health
from charprobe.stimulus.marker import Marker, sync_value
from charprobe.stimulus.timetable import Span
from charprobe.values.wording import number_text

LEAST_DB = 0.15  # rise that is told; filters answer both markers alike to 0.02 dB
MOST_REST = 0.3  # of the marker's power that its fit may leave: echoes, noise, another sound


def check_marker_levels(take: Take, *, off: bool = False) -> list[Health]:
    """Compare the levels of the opening and the closing marker: code ``level-drift``.

    A stage that has not recovered passes the closing marker lower, never higher; so only a rise is told,
    unless the stage is `off`.
    """
    stimulus = take.stimulus
    first, last = _gain(take, "opening", stimulus.opening), _gain(take, "closing", stimulus.closing)
    if first is None or last is None:
        return []
    rise_db = 20 * float(np.log10(last / first))
    if (abs(rise_db) if off else rise_db) < LEAST_DB:
        return []
    message = (
        f"The closing marker comes back {number_text(abs(rise_db), 2)} dB "
        f"{'louder' if rise_db > 0 else 'quieter'} than the opening one "
        f"({take.label}): the level drifted or stepped during the take. "
        "Let the gear warm up, touch no knob, and retake. Everything is given, marked"
    )
    return [Health("level-drift", "warn", message, channel=take.channel)]


def _gain(take: Take, marker: Marker, span: Span) -> float | None:
    """Gain of one marker; None where it is cut off or does not stand alone."""
    cut = take.cut(span.start, span.stop)
    if cut.samples.size < 0.99 * span.length or not np.all(np.isfinite(cut.samples)):
        return None
    played = sync_value(marker, cut.position() - span.start, rate_hz=take.stimulus.rate_hz)
    size = float(cut.samples @ played / (played @ played))
    rest = float(np.sum((cut.samples - size * played) ** 2) / np.sum(cut.samples**2)) if size else 1.0
    return abs(size) if rest < MOST_REST else None
