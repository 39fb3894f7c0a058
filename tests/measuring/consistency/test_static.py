from published_readings import entries, local, taken_back

from charprobe.profile.entry import Entry, Table
from charprobe.values.quantity import Unmeasured


def test_a_ratio_that_the_highest_steps_do_not_have_is_taken_back():
    read = entries(static__threshold=-20.0, static__knee_width=4.0, static__slope=0.437, static__ratio=2.289)
    assert not taken_back(read, local([1, 1, 1, 0.8, 0.437, 0.437, 0.437, 0.437]))
    assert taken_back(read, local([1, 1, 1, 0.8, 0.437, 0.44, 0.613, 0.613])) == {
        "static.slope",
        "static.ratio",
    }


def test_a_step_whose_lower_neighbour_lies_below_the_bend_denies_no_ratio():
    read = entries(static__threshold=-16.2, static__knee_width=0.0, static__slope=0.1, static__ratio=10.0)
    # the step at -15 dBFS has the slope from -18 to -12 dBFS: 1.8 dB at rest and 4.2 dB reduced, 0.37
    assert not taken_back(read, local([1, 1, 1, 1, 1, 0.37, 0.1, 0.1]))
    assert taken_back(read, local([1, 1, 1, 1, 1, 0.37, 0.37, 0.37])) == {"static.slope", "static.ratio"}


def test_a_low_level_gain_that_its_steps_do_not_have_is_taken_back():
    read = entries(static__threshold=-20.0, static__low_level_gain=3.0, static__makeup_gain=3.0)
    columns = {
        "input_dbfs": [-50.0, -40.0, -30.0, -10.0],
        "gain_db": [3.0, 3.0, 3.0, -2.0],
        "std_db": [0.01] * 4,
        "used": [True] * 4,
    }
    units = dict.fromkeys(columns, "")
    assert not taken_back(read, {"static": Table(columns, units)})
    columns["gain_db"] = [2.2, 2.2, 2.2, -2.0]
    assert taken_back(read, {"static": Table(columns, units)}) == {
        "static.low_level_gain",
        "static.makeup_gain",
    }


def test_steps_that_a_gate_closes_deny_no_low_level_gain():
    read = entries(static__threshold=-10.0, static__low_level_gain=0.0, static__makeup_gain=0.0)
    level = [-50.0, -45.0, -40.0, -35.0, -25.0, -20.0, -15.0, -5.0]
    columns = {
        "input_dbfs": level,
        "gain_db": [-14.0 if at < -30 else 0.0 for at in level],
        "std_db": [0.01] * 8,
        "used": [True] * 8,
    }
    curves = {"static": Table(columns, dict.fromkeys(columns, ""))}
    assert "static.makeup_gain" in taken_back(read, curves)
    unsure = Unmeasured("dBFS", "too few level steps tell the slope below it", "finer steps", at_most=-30.0)
    assert not taken_back(read | {"static.lower_threshold": Entry(unsure, "")}, curves)
