"""Judge a capture without measuring it, so that nothing of the estimators is loaded."""

from __future__ import annotations

from charprobe.files.sound.source import Source
from charprobe.measuring.health.judge import judge_capture, judge_pair
from charprobe.measuring.verdict import Verdict
from charprobe.placing.recognise import recognise
from charprobe.stimulus.timetable import Stimulus


def check(
    capture: Source,
    stimulus: Stimulus | None = None,
    *,
    bypass: Source | None = None,
    channel: int = 1,
) -> Verdict:
    """Judge one channel of a capture, and of its bypass; parameters as in `charprobe.measure`."""
    stimulus = stimulus or recognise(capture, min(channel, capture.channels) - 1)
    judged = judge_capture(capture, stimulus, channel - 1)
    take, health = judged
    if bypass is not None:
        health = judge_pair(judged, judge_capture(bypass, stimulus, min(channel, bypass.channels) - 1))
    return Verdict(take, health)
