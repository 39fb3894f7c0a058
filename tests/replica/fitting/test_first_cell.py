import dataclasses

from made_profiles import B, made_profile

from charprobe.profile.entry import Entry
from charprobe.replica.fitting.first_cell import first_cell, quiet_of
from charprobe.values.quantity import Unmeasured


def test_a_bound_of_a_lower_bend_without_its_curve_begins_no_gate():
    made = made_profile(B)
    bound = Unmeasured("dBFS", "too few level steps tell its slope", "finer steps", at_most=-40.0)
    profile = dataclasses.replace(
        made, quantities=made.quantities | {"static.lower_threshold": Entry(bound, "")}
    )
    assert quiet_of(first_cell(profile)) == "moved"
    curves = {name: table for name, table in profile.curves.items() if name != "static"}
    assert quiet_of(first_cell(dataclasses.replace(profile, curves=curves))) == "kept"
