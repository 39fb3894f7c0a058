"""How it was measured, as a paragraph fit to print: nothing in it that is not so of these captures."""

from __future__ import annotations

from collections.abc import Sequence

from charprobe.profile.profile import Profile
from charprobe.values.wording import counted, number_text

METHOD = (
    "A known stimulus was played through the stage and recorded; what is said here comes from that alone.",
    "Levels are those of fitted sines: a full-scale sine is 0 dBFS. Input levels are what the bypass capture "
    "shows for the same step; without one they are the stimulus's, and what needs a bypass is not given.",
    "Attack and release are read from the gain at every sample, found from bursts repeated at several phases "
    "of their carrier. Percentages are of the gain change in dB between settled gains; the times run from "
    "the edge of the input.",
    "Captures are never resampled for a measurement: frequencies are fitted, delay and drift come from "
    "markers at both ends.",
    "Intervals are 95 %. What could not be measured has no number, but a reason and the next test to make.",
)
"""What holds for every measurement."""


def methods_paragraph(profiles: Sequence[Profile]) -> str:
    """Return the paragraph: stimulus, captures, axis, definitions, intervals."""
    played = sorted({(p.stimulus.recipe, p.stimulus.rate_hz, p.stimulus.hash[:6]) for p in profiles})
    files = {p.capture.sha256 for p in profiles}
    drifts = [p.alignment.drift_ppm for p in profiles]
    versions = sorted({p.made_with.version for p in profiles})
    stimuli = "; ".join(f"{name} ({code}) at {rate / 1000:g} kHz" for name, rate, code in played)
    span = " to ".join(dict.fromkeys(number_text(end, 1) for end in (min(drifts), max(drifts))))
    axis = (
        "Input levels are what a capture with the stage off shows for the same step."
        if all("static.makeup_gain" in p.quantities and p.measured("static.makeup_gain") for p in profiles)
        else "Input levels are those of a capture with the stage off where there is one, else the stimulus's."
    )
    return (
        f"Recipe {stimuli}, a known stimulus, was played through the stage and recorded: "
        f"{counted(len(files), 'capture')}. A full-scale sine is 0 dBFS; levels are those of fitted sines. "
        f"{axis} Attack and release are the times from the edge of the input until 63 % of the gain change "
        "in dB between settled gains is done, from the gain at every sample; harmonics are given over the "
        f"fundamental (dBc). The captures were not resampled; the recorder's clock ran {span} ppm off the "
        f"player's, which was fitted. Intervals are 95 %. Measured with charprobe {', '.join(versions)}."
    )
