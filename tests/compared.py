"""Two made profiles compared, one of a setting captured again, and one that does nothing."""

import dataclasses

from made_profiles import B, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.profile import glossary
from charprobe.profile.entry import Entry
from charprobe.values.quantity import Unmeasured

TOP = Entry(Unmeasured("dB", "no reduction above 0.05 dB", "louder steps", at_most=0.05), "")
GONE = Entry(Unmeasured("s", "the stage reduces no gain", "none needed"), "")
BELOW = Entry(Unmeasured("dBc", "the noise hides it", "longer tones", at_most=-112.0), "")


def pair(first, second):
    return compare_profiles([made_profile(first), made_profile(second)])


def verdicts(comparison):
    return {item.name: item.verdict for item in comparison.differences}


def repeat(setting, number, gain_db):
    profile = made_profile(dataclasses.replace(setting, makeup_db=gain_db))
    capture = dataclasses.replace(profile.capture, sha256=f"{number:064x}")
    return dataclasses.replace(profile, capture=capture)


def flat(name):
    """A setting that reduces no gain and has no colour."""
    profile = made_profile(dataclasses.replace(B, name=name))
    changed = {"static.max_reduction": TOP}
    for quantity in profile.quantities:
        if quantity.startswith(("attack", "release")):
            changed[quantity] = Entry(GONE.reading.as_of(glossary.term(quantity).unit), "")
        if quantity.startswith("colour"):
            changed[quantity] = BELOW
    curves = {key: table for key, table in profile.curves.items() if key == "static"}
    return dataclasses.replace(profile, quantities={**profile.quantities, **changed}, curves=curves)
