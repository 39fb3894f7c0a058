"""How it was measured, as a paragraph fit to print: nothing in it that is not so of these captures."""

from __future__ import annotations

from collections.abc import Sequence

from charprobe.profile.profile import Profile
from charprobe.values.wording import counted, number_text


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
        if all(p.made_with.options.get("bypass") for p in profiles)
        else "Input levels are those of a capture with the stage off where there is one, else the stimulus's."
    )
    return (
        f"Recipe {stimuli}, a known stimulus, was played through the stage and recorded: "
        f"{counted(len(files), 'capture')}. A full-scale sine is 0 dBFS; levels are those of fitted sines. "
        f"{axis} Attack and release are the times from the edge of the input until 63 % of the gain change "
        "in dB between settled gains is done, from the gain at every sample, found from bursts repeated at "
        "several phases of their carrier; harmonics are given over the fundamental (dBc). The captures were "
        f"not resampled; the recorder's clock ran {span} ppm off the player's, which was fitted. Intervals "
        f"are 95 %; what could not be measured has a reason in place of a number. Measured with "
        f"charprobe {', '.join(versions)}."
    )
