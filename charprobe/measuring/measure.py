"""Measure a capture: find out what was played, hand over to the library."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath

from charprobe.files.sound.source import Source
from charprobe.measuring.characterise import characterise
from charprobe.placing.recognise import recognise
from charprobe.profile.in_dbu import with_dbu
from charprobe.profile.profile import Profile
from charprobe.profile.volts import VoltsReading
from charprobe.stimulus.timetable import Stimulus


def measure(
    capture: Source,
    stimulus: Stimulus | None = None,
    *,
    bypass: Source | None = None,
    setting: str | None = None,
    channel: int = 1,
    volts: Sequence[VoltsReading] = (),
) -> Profile:
    """Measure one channel of a capture.

    Parameters
    ----------
    capture : Source
        Recording of the stimulus through the stage: `open_capture` or `MemoryCapture`.
    stimulus : Stimulus, optional
        What was played; left out, the sound itself says which shipped recipe it is.
    bypass : Source, optional
        Recording of the same stimulus with the stage off, same path; its channel of the same number, or
        its last one, is used.
    setting : str, optional
        Name of the setting; left out, the capture's name without its ending.
    channel : int >= 1
        Channel to measure, counted from 1.
    volts : sequence of VoltsReading
        Voltmeter readings, which put dBu beside the levels on the input axis.

    Raises
    ------
    CharprobeError
        If the stimulus is not in the capture or the bypass, or the capture has no such channel.
    """
    profile = characterise(
        capture,
        stimulus or recognise(capture, min(channel, capture.channels) - 1),
        channel=channel,
        setting=PurePath(capture.name).stem if setting is None else setting,
        bypass=bypass,
    )
    return with_dbu(profile, volts) if volts else profile
