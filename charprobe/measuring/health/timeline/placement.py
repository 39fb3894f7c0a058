"""What the place of the stimulus in a capture tells: cut ends, edits, lost samples, clock, polarity."""

from __future__ import annotations

from charprobe.measuring.health.file.same_sound import check_same_sound
from charprobe.measuring.health.groups import lost_groups
from charprobe.measuring.health.timeline.order import check_order
from charprobe.placing.marker_search import pair_up, search
from charprobe.placing.take import Take
from charprobe.placing.timing_jump import TimingJump
from charprobe.profile.entry import Health
from charprobe.stimulus.kinds.segment import Segment
from charprobe.values.wording import clock_text, signed_text

ADDED_S = 2.0  # of silence in front or behind, beyond what starting a recorder by hand adds
EDIT_S = 0.02
COMMON_CLOCK_PPM = 0.05  # less is noise of the estimate, or temperature
WIDE_CLOCK_PPM = 200.0
BY_CLOCK = ("attack", "release", "response", "path", "replay", "noise.under_signal")
BY_EDIT = ("attack", "release", "noise", "path", "replica")
NEARLY = 0.99  # of a run's length: more than clocks differ


def check_placement(take: Take) -> tuple[Health, ...]:
    """Judge where and how the stimulus lies in a capture.

    Parameters
    ----------
    take : Take
        A placed capture.

    Returns
    -------
    tuple of Health
        Codes ``start-missing``, ``truncated``, ``added-silence``, ``two-takes``, ``reordered``,
        ``wrong-stimulus``, ``gap-edited``, ``timing-jump``, ``clock-drift``, ``polarity-inverted`` and
        ``equals-stimulus``; empty if there is nothing to say. Reads the file once.
    """
    return (
        *_ends(take),
        *_silence(take),
        *_runs(take),
        *check_order(take),
        *_take_number(take),
        *_jumps(take),
        *_clock(take),
        *_polarity(take),
        *check_same_sound(take),
    )


def _ends(take: Take) -> list[Health]:
    place, stimulus, frames = take.alignment, take.stimulus, take.source.frames
    found = []
    if place.capture_index(float(stimulus.opening.start)) < 0 or not place.opening_found:
        cut = [s for s in stimulus.segments if place.capture_index(float(s.span.start)) < 0]
        by = "second" if place.closing_found else "tones"
        message = (
            f"First marker missing ({take.label}): aligned by the {by}. {_cost(take, cut)} "
            "Start the recorder before playing"
        )
        found.append(
            Health("start-missing", "warn", message, take.channel, 0.0, withholds=lost_groups(take, cut))
        )
    if place.capture_index(float(stimulus.closing.stop)) > frames or not place.closing_found:
        cut = [s for s in stimulus.segments if place.capture_index(float(s.span.stop)) > frames]
        end_s = frames / take.source.rate_hz
        number = len(stimulus.segments) - len(cut) + 1
        at = f"segment {number} of {len(stimulus.segments)}" if cut else "the closing marker"
        message = (
            f"Ends at {at} ({take.label}, {clock_text(end_s)}). {_cost(take, cut)} "
            "Let the recorder run until the stimulus has ended"
        )
        found.append(
            Health("truncated", "warn", message, take.channel, end_s, withholds=lost_groups(take, cut))
        )
    return found


def _silence(take: Take) -> list[Health]:
    front_s = take.capture_time_s(0.0)
    behind_s = take.source.frames / take.source.rate_hz - take.capture_time_s(float(take.stimulus.length))
    parts = [
        f"{seconds:.2f} s added {where}"
        for seconds, where in ((front_s, "in front"), (behind_s, "behind"))
        if seconds > ADDED_S
    ]
    if not parts:
        return []
    message = f"{' and '.join(parts)} ({take.label}): accounted for"
    return [Health("added-silence", "note", message, channel=take.channel)]


def _runs(take: Take) -> list[Health]:
    stimulus, place, frames = take.stimulus, take.alignment, take.source.frames
    room = max(
        place.capture_index(float(stimulus.opening.start)),
        frames - place.capture_index(float(stimulus.closing.stop)),
    )
    whole = place.opening_found and place.closing_found and not place.jumps
    if whole and room < NEARLY * (stimulus.closing.stop - stimulus.opening.start):
        return []  # no other run fits into the file
    hits = search(take.source, take.channel, start=0, stop=frames, marker_rate_hz=stimulus.rate_hz)
    runs = pair_up(hits, distance=stimulus.closing.start - stimulus.opening.start)
    starts = [run.opening.index for run in runs if run.opening is not None and run.closing is not None]
    if len(starts) < 2:
        return []
    times = ", ".join(clock_text(start / stimulus.rate_hz) for start in starts)
    count = "Two" if len(starts) == 2 else str(len(starts))
    message = (
        f"{count} complete runs found ({take.label}, opening markers at {times}): the first one is used. Cut "
        "the file into one per run to measure the others as repeats"
    )
    return [Health("two-takes", "warn", message, take.channel, starts[1] / stimulus.rate_hz)]


def _take_number(take: Take) -> list[Health]:
    reading = take.alignment.ident
    if reading is None or reading.take == take.stimulus.take:
        return []
    message = (
        f"The cue sheet says take {take.stimulus.take}, the sound says take {reading.take} ({take.label}): "
        "same recipe, so it is measured. Check which setting this capture belongs to"
    )
    return [Health("wrong-stimulus", "warn", message, take.channel)]


def _jumps(take: Take) -> list[Health]:
    rate_hz = take.stimulus.rate_hz
    edits = [j for j in take.alignment.jumps if abs(j.samples.value) > EDIT_S * rate_hz]
    found = [_jump(take, j) for j in take.alignment.jumps if j not in edits]
    if edits:
        total_s = sum(j.samples.value for j in edits) / rate_hz
        by = f"{abs(total_s):.2f} s {'shorter' if total_s < 0 else 'longer'}"
        places = ", ".join(clock_text(take.capture_time_s(j.start)) for j in edits)
        message = (
            f"Gaps are {by} than played ({take.label}, after {places}): cut by an editor. Static results "
            "kept; export again without stripping silence"
        )
        when = take.capture_time_s(edits[0].start), take.capture_time_s(edits[-1].stop)
        found.append(Health("gap-edited", "stop", message, take.channel, *when, withholds=BY_EDIT))
    return found


def _jump(take: Take, jump: TimingJump) -> Health:
    start_s, end_s = take.capture_time_s(jump.start), take.capture_time_s(jump.stop)
    lost = jump.samples.value < 0
    touched = [s for s in take.stimulus.segments if jump.start < s.span.stop and jump.stop > s.span.start]
    message = (
        f"Timing jumps {abs(jump.samples.value):.0f} samples between {clock_text(start_s)} and "
        f"{clock_text(end_s)} ({take.label}): {'lost' if lost else 'inserted'} samples, not clock error. "
        f"{_cost(take, touched)} Retake with a larger buffer"
    )
    withheld = ("replica", *lost_groups(take, touched))
    return Health("timing-jump", "stop", message, take.channel, start_s, end_s, withheld)


def _clock(take: Take) -> list[Health]:
    drift = take.alignment.drift_ppm
    if drift.low <= COMMON_CLOCK_PPM and drift.high >= -COMMON_CLOCK_PPM:
        return []
    wide = abs(drift.value) > WIDE_CLOCK_PPM
    ppm = signed_text(drift.value, 1)
    message = (
        f"Recorder runs {ppm} ppm ({take.label}): frequencies and delay are fitted to its clock, and nothing "
        "is resampled for a measurement."
    )
    if wide:
        message += (
            " Free-running converters differ by less: check the clock settings, use one device both ways, "
            "and look for a conversion that changed the speed."
        )
    return [Health("clock-drift", "warn" if wide else "note", message, channel=take.channel)]


def _polarity(take: Take) -> list[Health]:
    if take.alignment.polarity_turns:
        message = (
            f"Polarity turns round between the markers ({take.label}): the take was put together from two, "
            "or a switch was pressed. Latency, phases and what stands on one clock are wrong. Retake in one "
            "go. Levels are kept"
        )
        return [Health("polarity-inverted", "stop", message, channel=take.channel, withholds=BY_CLOCK)]
    if take.alignment.polarity > 0:
        return []
    message = f"Polarity inverted ({take.label}): undone where phases count; the setting's own is a finding"
    return [Health("polarity-inverted", "note", message, channel=take.channel)]


def _cost(take: Take, lost: list[Segment]) -> str:
    """Say which segments survive and which do not."""
    if not lost:
        return "All segments kept."
    kept = [s.spec.name for s in take.stimulus.segments if s not in lost and take.holds(s)]
    missing = ", ".join(s.spec.name for s in lost)
    return f"Kept: {', '.join(kept) or 'nothing'}; missing: {missing}."
