import dataclasses

import pytest
from made_profiles import B, made_profile

from charprobe.profile.entry import Entry, Table
from charprobe.replica.fitting.first_cell import first_cell, quiet_of
from charprobe.values.quantity import Quantity, Unmeasured


def test_a_bound_of_a_lower_bend_without_its_curve_begins_no_gate():
    made = made_profile(B)
    bound = Unmeasured("dBFS", "too few level steps tell its slope", "finer steps", at_most=-40.0)
    profile = dataclasses.replace(
        made, quantities=made.quantities | {"static.lower_threshold": Entry(bound, "")}
    )
    assert quiet_of(first_cell(profile)) == "moved"
    curves = {name: table for name, table in profile.curves.items() if name != "static"}
    assert quiet_of(first_cell(dataclasses.replace(profile, curves=curves))) == "kept"


def test_steps_that_had_not_settled_tell_how_steep_it_is_at_least():
    made = made_profile(B)
    none = Entry(Unmeasured("dB/dB", "no step had settled", "longer steps"), "")
    levels, gains = [-40.0, -30.0, -20.0, -10.0], [2.0, 2.0, -1.0, -10.0]
    columns = {"input_dbfs": levels, "gain_db": gains, "direction": ["rising"] * 4}
    begun = first_cell(
        dataclasses.replace(
            made,
            quantities=made.quantities | {"static.slope": none},
            curves={**made.curves, "static": Table(columns, dict.fromkeys(columns, ""))},
        )
    )
    assert begun.bends[0].slope == pytest.approx(0.9)  # by 9 dB for the last 10


def test_a_hold_that_was_timed_is_there_from_the_start_and_no_part_of_the_release():
    made = made_profile(B)
    held = Entry(Quantity(0.03, 0.029, 0.031, "s"), "")
    plain = first_cell(made).smoothing
    begun = first_cell(
        dataclasses.replace(made, quantities=made.quantities | {"release.hold": held})
    ).smoothing
    assert (begun.hold_s, begun.release_s) == (0.03, pytest.approx(plain.release_s - 0.03))


def test_a_second_bend_that_the_profile_sees_is_there_from_the_start():
    made = made_profile(B)
    seen = {
        "static.second_threshold": Quantity(-9, -9.1, -8.9, "dBFS"),
        "static.second_slope": Quantity(0.6, 0.59, 0.61, "dB/dB"),
    }
    profile = dataclasses.replace(
        made, quantities=made.quantities | {name: Entry(reading, "") for name, reading in seen.items()}
    )
    slope = made.measured("static.slope").value
    first, second = first_cell(profile).bends
    assert first == first_cell(made).bends[0]
    assert (second.threshold_dbfs, second.slope) == (-9, pytest.approx(slope - 0.6))


@pytest.mark.parametrize(("low_falls_db", "there"), [(9.0, False), (6.0, True), (12.0, False)])
def test_a_low_tone_that_is_reduced_less_begins_with_a_low_cut(low_falls_db, there):
    columns = {
        "frequency_hz": [110.0, 5000.0, 110.0, 5000.0],
        "input_dbfs": [-40.0, -40.0, -3.0, -3.0],
        "fundamental_dbfs": [-40.0, -40.0, -3.0 - low_falls_db, -3.0 - 9.0],
    }
    made = made_profile(B)
    table = Table(columns, dict.fromkeys(columns, ""))
    corner_hz = first_cell(
        dataclasses.replace(made, curves={**made.curves, "harmonics": table})
    ).detector.low_cut_hz
    # 3 dB less of reduction at 4:1 are 4 dB less heard: of first order from 135 Hz
    assert corner_hz == (pytest.approx(110 * (10**0.4 - 1) ** 0.5, rel=1e-3) if there else 0)
