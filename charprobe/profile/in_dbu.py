"""dBu beside dBFS: levels on the input axis of a profile, by what full scale was found to stand for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from charprobe.profile import glossary
from charprobe.profile.entry import Entry, Health
from charprobe.profile.profile import Profile
from charprobe.profile.volts import VoltsCalibration, VoltsReading, calibrate_volts
from charprobe.values.quantity import Quantity
from charprobe.values.wording import number_text, signed_text


def with_dbu(profile: Profile, readings: Sequence[VoltsReading]) -> Profile:
    """Return the profile with dBu in the conditions of every level on the input axis.

    The levels themselves stay in dBFS, so that profiles with and without readings can be compared.
    `readings`, at least one, are volts at the input of the stage for a steady tone, and its level on the
    input axis; where they do not lie on one line of slope 1 no dBu is given, and a finding ``volts-misfit``
    says so.
    """
    found = calibrate_volts(readings)
    misfit = tuple(
        Health("volts-misfit", "warn", f"No dBu is given: {warning}.", channel=profile.channel)
        for warning in found.warnings
    )
    if misfit:
        return replace(profile, health=(*profile.health, *misfit))
    quantities = dict(profile.quantities)
    for name, entry in profile.quantities.items():
        if glossary.term(name).on_input_axis and isinstance(entry.reading, Quantity):
            dbu = found.dbu(entry.reading)
            quantities[name] = Entry(entry.reading, f"{_words(found, dbu)}; {entry.conditions}", dbu)
    return replace(profile, quantities=quantities)


def dbu_text(entry: Entry) -> str:
    """Return the level of a reading in dBu as the voltmeter gave it, such as "= −5.2 dBu"; "" without one."""
    return f"= {number_text(entry.dbu.value, 1)} dBu" if entry.dbu is not None else ""


def _words(found: VoltsCalibration, dbu: Quantity) -> str:
    value, low, high = (number_text(end, 1) for end in (dbu.value, dbu.low, dbu.high))
    full = signed_text(found.full_scale.value, 1)
    return f"= {value} dBu ({low} to {high}); full scale {full} dBu by voltmeter"
