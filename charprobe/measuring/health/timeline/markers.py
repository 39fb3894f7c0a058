"""What the sync markers tell of a take: fades at the edges of the file, a level that rose between the two."""

from __future__ import annotations

import numpy as np

from charprobe.measuring.health.timeline.steady_gain import tone_gain
from charprobe.placing.take import Take, once
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.stimulus.kinds.segment import Span, Tone
from charprobe.stimulus.marker import FALL_SHARE, Marker, sync_value
from charprobe.values.arrays import Array
from charprobe.values.wording import number_text

PIECES = 8  # of each chirp; equal pieces of time are equal bands of frequency
LEAST_FADE_DB = 0.35  # of the outermost piece; slow releases and filters lower it by 0.12 dB
MOST_SHORT_DB = 2.0
MOST_TURN_DB = 6.0  # between the two halves of the closing marker that a fade makes
EVEN = 0.95  # correlation of a fade with a straight line; a gate that opens has less
UNEVEN, LEAST_UNEVEN_DB = 0.15, 0.3  # of a rise: a drifting path raises all of a marker alike
LEAST_RISE_DB = 0.05  # that is told; filters answer both markers alike to 0.02 dB
QUIETEST, FEWEST_PAIRS = 1 / 4, 3  # share of the levels played twice at which stages rest, and least of them
NEAR, NEAR_DB, SURE = 0.12, 0.01, 4.0  # of what the markers moved by, in dB, and in standard uncertainties
JUST = 0.02  # the first of them, through a stage that lifts
STILL, STILL_DB = 0.01, 0.004  # of a fall, and in dB: what a marker's bands differ by where no gain moves
MOST_REST = 0.3  # of the marker's power that its fit may leave: echoes, noise, another sound


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
    if _acts(opening, fall[::-1], rise):
        return []
    found = []
    # a gate or an automatic gain bends one part of the closing marker, a fade neither
    fade_in_db = min(_fade_db(opening - fall[::-1]), _fade_db(opening - rise))
    if fade_in_db > LEAST_FADE_DB:
        text = _text(take, "opening", "in", fade_in_db)
        found.append(Health("start-missing", "warn", text, channel=take.channel, start_s=0.0))
    # what settles while the closing marker falls is at rest while it rises, as in the opening one
    fade_out_db = min(_fade_db((rise - other)[::-1]) for other in (fall[::-1], opening))
    if fade_out_db > LEAST_FADE_DB:
        text = _text(take, "closing", "out", fade_out_db)
        end_s = take.source.frames / take.source.rate_hz
        found.append(Health("truncated", "warn", text, channel=take.channel, start_s=end_s))
    return found


def _acts(opening: Array, fall: Array, rise: Array) -> bool:
    """Whether the stage itself turns the markers up or down: no fade of the file leaves them so.

    None has the end of the closing marker louder than its beginning at the same frequencies.
    A fade that has ended leaves the opening marker as loud as the closing one, one that has not rises fast.
    """
    turns = float(np.median(np.abs(rise - fall))) > MOST_TURN_DB or float((rise - fall).max()) > LEAST_FADE_DB
    short_db = float(max(fall.max(), rise.max()) - opening.max())
    rising_db = float(opening.max() - opening.min())
    return turns or short_db > max(MOST_SHORT_DB, rising_db)


def _text(take: Take, which: str, way: str, fade_db: float) -> str:
    return (
        f"The {which} marker fades {way} ({take.label}): its edge is {number_text(fade_db, 1)} dB below its "
        "middle. A fade was drawn over the edge of the file, or the recorder drew one. Levels beside it are "
        f"the fade's. Export again without fades. {ALL_GIVEN}"
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


@once
def check_marker_levels(take: Take, *, off: bool = False) -> list[Health]:
    """Compare the levels of the opening and the closing marker: code ``level-drift``.

    A stage may not have recovered at the closing marker, or turn it up; then its tones do not repeat either,
    or the whole marker does not move alike. Unless the stage is `off`, a fall is told only where tones that
    are played twice fall by as much, in one step or evenly, and a rise not where they move otherwise.
    """
    stimulus = take.stimulus
    if not (_heard(take, stimulus.opening, "opening") and _heard(take, stimulus.closing, "closing")):
        return []
    by_band_db = _rise_by_band_db(take)
    rise_db = float(np.median(by_band_db))
    uneven_db = float(np.ptp(by_band_db))
    if abs(rise_db) < LEAST_RISE_DB or uneven_db > max(UNEVEN * abs(rise_db), LEAST_UNEVEN_DB):
        return []
    still = uneven_db < max(STILL * abs(rise_db), STILL_DB)
    if not (off or _by_the_path(take, rise_db, still=still)):
        return []
    held = "" if off or rise_db < 0 else ", or the stage still held what it had heard before"
    message = (
        f"The closing marker comes back {number_text(abs(rise_db), 2)} dB "
        f"{'louder' if rise_db > 0 else 'quieter'} than the opening one "
        f"({take.label}): the level drifted or stepped during the take{held}. "
        f"Let the gear warm up, touch no knob, and retake. {ALL_GIVEN}"
    )
    return [Health("level-drift", "warn", message, channel=take.channel)]


def _by_the_path(take: Take, rise_db: float, *, still: bool) -> bool:
    """Whether quiet tones that are played twice leave it to the path, not the stage, that the markers moved.

    Between a tone and itself played later, a path that stepped moves by all of it or by nothing, and one that
    drifts by its share of time. A stage that has not recovered takes from a rise, so a rise is the stage's
    only where tones rose by more; a fall, or a rise through a stage that lifts a tone by more than it, is the
    path's only where they moved just so. Where none of them moved it is the path's if the closing marker is
    `still`, too: a stage so slow that it keeps its gain over the marker would not have let the tones repeat.
    """
    near_db = NEAR * abs(rise_db) + NEAR_DB
    moved = [move for move in _moves_of_quiet_tones(take) if SURE * move[2] < near_db]
    if len(moved) < FEWEST_PAIRS:
        return rise_db > 0
    size_db, later_s, _ = np.array(moved).T
    if rise_db > 0:
        most_db = rise_db + near_db
        if float(size_db.max()) >= most_db:
            return False
        if _lift_db(take) < most_db:
            return True
        near_db = JUST * rise_db + NEAR_DB
    first, last = (
        take.capture_time_s(float(one.start)) for one in (take.stimulus.opening, take.stimulus.closing)
    )
    share = later_s / (last - first)
    kept, stepped = (np.abs(size_db - by_db) < near_db for by_db in (0.0, rise_db))
    drifted = np.abs(size_db - share * rise_db) < share * near_db
    if kept.all():
        return still and rise_db < 0
    return bool((kept | stepped).all() or drifted.all())


def _lift_db(take: Take) -> float:
    """By how much the stage lifts a tone over the first one of its frequency, which is a quiet one."""
    first: dict[float, float] = {}
    lifts = [0.0]
    for tone in take.single_tones():
        if (gain := tone_gain(take, tone)) is not None:
            lifts.append(gain.gain_db - first.setdefault(tone.frequency_hz, gain.gain_db))
    return max(lifts)


def _moves_of_quiet_tones(take: Take) -> list[tuple[float, float, float]]:
    """How far quiet tones move until they are played again: in dB, how much later, and how surely."""
    pairs: dict[tuple[float, float], list[Tone]] = {}
    for tone in take.single_tones():
        pairs.setdefault((round(tone.level_dbfs, 3), tone.frequency_hz), []).append(tone)
    twice = [tones for _, tones in sorted(pairs.items()) if len(tones) > 1]
    moved = []
    for tones in twice[: max(FEWEST_PAIRS, round(QUIETEST * len(twice)))]:
        first, last = tone_gain(take, tones[0]), tone_gain(take, tones[-1])
        if first is not None and last is not None:
            std_db = float(np.hypot(first.std_db, last.std_db))
            moved.append((last.gain_db - first.gain_db, last.time_s - first.time_s, std_db))
    return moved


def _rise_by_band_db(take: Take) -> Array:
    """By how much the closing marker's rising half is above the opening one, by band; 0 where one is cut.

    What a filter makes of a rising chirp drops out; a stage that itself turns the marker up does so unevenly.
    """
    stimulus = take.stimulus
    opening = _gains_db(take, "opening", stimulus.opening, 0.0, 1.0)
    rise = _gains_db(take, "closing", stimulus.closing, FALL_SHARE, 1.0)
    return np.zeros(PIECES) if opening is None or rise is None else rise - opening


def _heard(take: Take, span: Span, marker: Marker) -> bool:
    """Whether a marker is all there and stands alone."""
    cut = take.cut(span.start, span.stop)
    if cut.samples.size < 0.99 * span.length or not np.all(np.isfinite(cut.samples)):
        return False
    played = sync_value(marker, cut.position() - span.start, rate_hz=take.stimulus.rate_hz)
    size = float(cut.samples @ played / (played @ played))
    rest = float(np.sum((cut.samples - size * played) ** 2) / np.sum(cut.samples**2)) if size else 1.0
    return rest < MOST_REST
