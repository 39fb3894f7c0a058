"""Measure or judge capture files: open what is named, find out what was played, hand over to the library."""

from __future__ import annotations

from pathlib import Path

from charprobe.files.sound_file import open_capture
from charprobe.files.source import Source
from charprobe.measuring.characterise import characterise
from charprobe.measuring.health.judge import judge_capture, judge_pair
from charprobe.measuring.verdict import Verdict
from charprobe.placing.recognise import recognise
from charprobe.profile.in_dbu import with_dbu
from charprobe.profile.profile import Profile
from charprobe.profile.volts_file import load_volts
from charprobe.stimulus.cue_sheet import load_cue_sheet
from charprobe.stimulus.timetable import Stimulus


def measure_file(
    capture: Path,
    cues: Path | None,
    *,
    bypass: Path | None,
    setting: str | None,
    channel: int,
    volts: Path | None = None,
) -> Profile:
    """Measure one channel of a capture file.

    Parameters
    ----------
    capture : Path
        Recording of the stimulus through the stage.
    cues : Path or None
        Cue sheet, or the stimulus WAV beside it; None reads the ident and takes the shipped recipe it names.
    bypass : Path or None
        Recording of the same stimulus with the stage off.
    setting : str or None
        Name of the setting; None takes the capture's file name without its ending.
    channel : int >= 1
        Channel to measure.
    volts : Path or None
        Voltmeter readings, which put dBu beside the levels on the input axis.

    Raises
    ------
    CharprobeError
        If a file cannot be read or the stimulus is not in it.
    """
    readings = None if volts is None else load_volts(volts)
    wet = open_capture(capture)
    dry = None if bypass is None else open_capture(bypass)
    stimulus = stimulus_of(wet, cues, channel=channel)
    profile = characterise(
        wet, stimulus, channel=channel, setting=capture.stem if setting is None else setting, bypass=dry
    )
    return profile if readings is None else with_dbu(profile, readings)


def check_capture_file(
    capture: Path, cues: Path | None, *, channel: int, bypass: Path | None = None
) -> Verdict:
    """Judge one channel of a capture file, and of its bypass; parameters as in `measure_file`."""
    source = open_capture(capture)
    stimulus = stimulus_of(source, cues, channel=channel)
    judged = judge_capture(source, stimulus, channel - 1)
    take, health = judged
    if bypass is not None:
        dry = open_capture(bypass)
        health += judge_pair(judged, judge_capture(dry, stimulus, min(channel, dry.channels) - 1))
    return Verdict(take, health)


def stimulus_of(source: Source, cues: Path | None, *, channel: int) -> Stimulus:
    """Return the stimulus of a cue sheet, or without one that which the sound names."""
    if cues is not None:
        return load_cue_sheet(cues).stimulus
    return recognise(source, min(channel, source.channels) - 1)
