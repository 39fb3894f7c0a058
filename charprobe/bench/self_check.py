"""What a rig can tell: response, distortion, noise, latency, drift, repeatability, from two loop-backs."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from charprobe.files.sound.sound_file import open_capture
from charprobe.measuring.measure import measure
from charprobe.profile.entry import numbers
from charprobe.profile.profile import Profile
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.quantity import Quantity
from charprobe.values.wording import number_text, readable, signed_text

BAND_HZ = (20.0, 20_000.0)
OWN_PPM = 0.5  # between playing and recording of one device; what differs more is another clock
SAME_SAMPLES = 0.5


def rig_report(
    first: Path, second: Path, stimulus: Stimulus, *, channel: int = 1, two_devices: bool = False
) -> tuple[str, ...]:
    """Measure two loop-back takes of what was played, and say line by line what that means for a review.

    The second is set against the first, on one `channel`, from 1; `two_devices` tells that one device played
    and another recorded. `CharprobeError` if the stimulus is not in a take.
    """
    rig = measure(open_capture(first), stimulus, setting="rig", channel=channel)
    again = measure(
        open_capture(second), stimulus, bypass=open_capture(first), setting="rig again", channel=channel
    )
    place = rig.alignment
    lines = [
        f"latency        {place.delay_samples / stimulus.rate_hz * 1000:.2f} ms of the whole loop",
        f"clock          {signed_text(place.drift_ppm, 2)} ppm between playing and recording",
        f"polarity       {'normal' if place.polarity > 0 else 'inverted'}",
    ]
    lines[2:2] = _clock(place.drift_ppm, two_devices=two_devices)
    for title, name in (("noise", "noise.a_weighted"), ("distortion", "colour.thd_at_reference")):
        reading = rig.quantities[name].reading
        text = readable(reading)
        lines.append(f"{title:<14} {text.value} {text.unit}".rstrip())
    lines += [_response(rig), *_repeat(again)]
    late = again.alignment.delay_samples - place.delay_samples
    if abs(late) > SAME_SAMPLES:
        lines.append(
            f"               latency not: the second take came {number_text(abs(late), 1)} samples "
            f"{'later' if late > 0 else 'earlier'}, so latency of a stage cannot be told with this rig"
        )
    lines += [f"{item.severity.upper():<14} {item.message}" for item in rig.health if item.severity != "note"]
    return tuple(lines)


def _clock(drift_ppm: float, *, two_devices: bool) -> list[str]:
    """What a difference of clocks means."""
    if two_devices:
        return ["               two devices have two clocks; it is measured, and taken out of every result"]
    if abs(drift_ppm) > OWN_PPM:
        return [
            "               one device has one clock, so its rate is converted: choose the device's own rate"
        ]
    return []


def _response(rig: Profile) -> str:
    table = rig.curves.get("response")
    if table is None:
        return "response       not measured"
    frequency, level = numbers(table, "frequency_hz"), numbers(table, "magnitude_db")
    inside = (frequency >= BAND_HZ[0]) & (frequency <= BAND_HZ[1]) & np.isfinite(level)
    low, high = float(level[inside].min()), float(level[inside].max())
    return (
        f"response       {signed_text(low, 2)} to {signed_text(high, 2)} dB, 20 Hz to 20 kHz; a bypass take "
        "takes it out of every result"
    )


def _repeat(again: Profile) -> list[str]:
    """How far the second take is from the first: differences of settings below that are the rig's."""
    table = again.curves.get("static")
    lines = []
    if table is not None:
        gain = numbers(table, "gain_db")
        gain = gain[np.isfinite(gain)]
        if len(gain):
            lines.append(
                f"repeatability  steady levels within {number_text(float(np.abs(gain).max()), 3)} dB: "
                "smaller differences between settings are the rig's"
            )
    change = again.quantities["noise.change"].reading
    if isinstance(change, Quantity):
        lines.append(f"               noise within {number_text(abs(change.value), 1)} dB")
    return lines
