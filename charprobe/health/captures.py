"""One capture judged and placed: everything known about it before a number is drawn from it."""

from __future__ import annotations

from dataclasses import replace

from charprobe.chapter import Health
from charprobe.errors import CharprobeError
from charprobe.health.continuity import check_continuity
from charprobe.health.file_facts import check_file
from charprobe.health.marker_levels import check_marker_levels
from charprobe.health.placement import check_placement
from charprobe.health.second_path import check_second_path
from charprobe.source import Source
from charprobe.stimulus import Stimulus
from charprobe.take import Take, place_take

DAMAGE = ("non-finite", "dropout", "timing-jump")  # segments they touch give no results
CLIPPED = ("clipped",)  # nor do tones that this touches


Judged = tuple[Take, tuple[Health, ...]]


def judge_capture(source: Source, stimulus: Stimulus, channel: int) -> Judged:
    """Place one channel of a capture and gather what is wrong with it.

    Parameters
    ----------
    source : Source
        The capture.
    stimulus : Stimulus
        What was played.
    channel : int
        Channel, from 0.

    Returns
    -------
    take : Take
        The channel on the stimulus clock; stretches that no result may come from are marked in it.
    health : tuple of Health
        Findings about this channel and about the file.

    Raises
    ------
    AlignmentError
        If the stimulus is not there.
    CharprobeError
        If there is no such channel.
    """
    if not 0 <= channel < source.channels:
        raise CharprobeError(
            f"{source.name} has {source.channels} channel{'s' if source.channels > 1 else ''}, there is no "
            f"channel {channel + 1}: choose one with --channel"
        )
    take = place_take(source, stimulus, channel)
    found = (
        *(item for item in check_file(source) if item.channel in (None, channel)),
        *check_placement(take),
        *check_continuity(take),
        *check_second_path(take),
    )
    if all(item.code != "gain-step" for item in found):
        found += tuple(check_marker_levels(take))
    return replace(take, damaged=_spans(take, found, DAMAGE), clipped=_spans(take, found, CLIPPED)), found


def _spans(take: Take, found: tuple[Health, ...], codes: tuple[str, ...]) -> tuple[tuple[float, float], ...]:
    """Stretches that findings of some codes name, in capture samples."""
    rate_hz = take.source.rate_hz
    return tuple(
        (item.start_s * rate_hz, item.end_s * rate_hz)
        for item in found
        if item.code in codes and item.start_s is not None and item.end_s is not None
    )
