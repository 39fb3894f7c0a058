"""Pauses that a device or a driver switches off: quiet, but not the noise that plays under a signal."""

from __future__ import annotations

from charprobe.measuring.heard import heard_in
from charprobe.placing.take import Take, held
from charprobe.profile.entry import Health
from charprobe.stimulus.kinds.steady import Silence
from charprobe.values.wording import clock_text


def check_idle_mute(take: Take) -> list[Health]:
    """Notice digital zeros, or less noise in silence than beside the quiet tone: code ``idle-mute``."""
    segments = held(take, Silence)
    if not segments:
        return []
    heard = heard_in(take, segments[0])
    if not heard.muted:
        return []
    start_s, end_s = (
        take.capture_time_s(float(at)) for at in (segments[0].span.start, segments[0].span.stop)
    )
    taken = "Noise is taken beside the quiet tone" if heard.beside_tone else "No noise figure is given"
    message = (
        f"Idle mute: the silence from {clock_text(start_s)} on is switched off, not quiet ({take.label}), so "
        f"it says nothing about the noise that plays under a signal. {taken}. Turn off gates and power "
        "saving, and retake if the noise matters"
    )
    return [Health("idle-mute", "warn", message, channel=take.channel, start_s=start_s, end_s=end_s)]
