"""Captures that hold the very samples of the stimulus: no device in the path, or files exchanged."""

from __future__ import annotations

import numpy as np

from charprobe.placing.take import Take
from charprobe.profile.entry import Health
from charprobe.profile.glossary import SERVES
from charprobe.stimulus.render import render_pieces

GRIDS = (2.0**-15, 2.0**-23)  # steps of 16 and 24 bits
SAME_STEPS = 1.6  # steps that rounding with dither moves a sample by; converter noise at 24 bits is far more
SAME_FLOAT = 1e-7


def check_same_sound(take: Take) -> list[Health]:
    """Notice a capture that never went through a device: code ``equals-stimulus``."""
    if not equals_stimulus(take):
        return []
    message = (
        f"Capture equals the stimulus sample for sample ({take.label}): "
        "recorded digitally before the device, or bypassed in software. There is no device in this path"
    )
    return [Health("equals-stimulus", "warn", message, channel=take.channel)]


def check_roles(wet: Take, bypass: Take) -> tuple[Health, ...]:
    """Notice exchanged files: the capture is the stimulus itself, the bypass is not."""
    if not equals_stimulus(wet) or equals_stimulus(bypass):
        return ()
    what = f"{wet.source.name} matches the stimulus exactly and the bypass {bypass.source.name} does not"
    return (_exchanged(wet, f"{what}: they look swapped. Run again with the roles exchanged"),)


def look_exchanged(wet: Take, bypass: Take) -> Health:
    """Tell that a bypass's gain moves with level while the setting's keeps still: code ``swapped-roles``."""
    what = (
        f"The gain of the bypass {bypass.source.name} moves with level, as a stage's does, and that of "
        f"{wet.source.name} keeps still: on and off look exchanged. Run again with the roles exchanged; if "
        "they are right as named, an automatic gain or a driven converter was in the path of the bypass "
        "alone: mend it and retake. No number is given"
    )
    return _exchanged(wet, what)


def _exchanged(wet: Take, what: str) -> Health:
    return Health(
        "swapped-roles",
        "stop",
        f"{what}; nothing was exchanged silently",
        channel=wet.channel,
        withholds=tuple(dict.fromkeys(name for names in SERVES.values() for name in names)),
    )


def equals_stimulus(take: Take) -> bool:
    """Tell whether a capture holds the very samples of the stimulus."""
    place = take.alignment
    if place.jumps or place.polarity < 0 or abs(place.gain_db) > 0.01 or abs(place.drift_ppm.value) > 0.01:
        return False
    shift = round(place.delay_samples.value)
    if abs(place.delay_samples.value - shift) > 1e-3:
        return False
    step = _step(take)
    sides = range(1, take.stimulus.channels + 1)
    return any(_equals_side(take, side, shift=shift, step=step) for side in sides)


def _equals_side(take: Take, side: int, *, shift: int, step: float) -> bool:
    for start, sound in render_pieces(take.stimulus, side=side):
        first = max(0, start + shift)
        wanted = sound[first - start - shift :]
        found = take.source.read(first, first + wanted.size, take.channel)
        if found.size and not np.all(np.abs(found - wanted[: found.size]) <= step):
            return False
    return True


def _step(take: Take) -> float:
    """Difference that rounding alone explains, from the grid the capture's own samples lie on."""
    opening = take.stimulus.opening
    samples = take.cut(opening.start, opening.stop).samples
    for grid in GRIDS:
        if np.all(samples / grid == np.round(samples / grid)):
            return SAME_STEPS * grid
    return SAME_FLOAT
