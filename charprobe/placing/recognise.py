"""Which shipped stimulus a capture holds, read from the sound itself."""

from __future__ import annotations

from charprobe.files.sound.source import Source
from charprobe.placing.why_not_found import find_ident
from charprobe.stimulus.recipe import shipped_recipe_of
from charprobe.stimulus.render import lay_out
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.errors import AlignmentError


def recognise(source: Source, channel: int) -> Stimulus:
    """Read the ident of a capture and lay out the shipped recipe it names, at the capture's rate.

    Parameters
    ----------
    source : Source
        The capture.
    channel : int
        Its channel, from 0.

    Raises
    ------
    AlignmentError
        If no ident can be read, or it names no shipped recipe.
    """
    reading = find_ident(source, channel)
    if reading is None:
        raise AlignmentError(
            f"{source.name}, channel {channel + 1}: no ident found in the sound, so it does not say which "
            "stimulus it is. Name the cue sheet with --stimulus; if this is not a capture of a charprobe "
            "stimulus, retake. File kept"
        )
    recipe = shipped_recipe_of(reading.recipe_hash_prefix)
    if recipe is not None:
        return lay_out(recipe, rate_hz=source.rate_hz, take=reading.take)
    raise AlignmentError(
        f"{source.name}, channel {channel + 1}: the sound names recipe {reading.recipe_hash_prefix}, "
        f"take {reading.take}, which is none of the shipped ones in this version. Name its cue sheet with "
        "--stimulus. File kept"
    )


def recognise_any(source: Source) -> Stimulus:
    """Return what `recognise` reads from the first channel that says it: all heard one stimulus at once.

    Raises
    ------
    AlignmentError
        Of the first channel, if none says it.
    """
    errors = []
    for channel in range(source.channels):
        try:
            return recognise(source, channel)
        except AlignmentError as error:
            errors.append(error)
    raise errors[0]
