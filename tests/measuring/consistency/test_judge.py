import math

import numpy as np
import pytest

from charprobe.measuring.consistency.judge import CODE, reconciled
from charprobe.profile.entry import Entry, Table
from charprobe.profile.glossary import term
from charprobe.values.quantity import Quantity, Unmeasured


def entries(**values):
    """Readings under names whose dot is written as two underscores, each good to 0.1 %."""
    names = {name.replace("__", "."): value for name, value in values.items()}
    return {
        name: Entry(Quantity.from_std(value, 0.0005 * abs(value), term(name).unit), "")
        for name, value in names.items()
    }


def taken_back(published, curves=None):
    kept, health = reconciled(published, curves or {})
    assert {item.code for item in health} <= {CODE}
    names = {name for item in health for name in item.withholds}
    assert names == {name for name, entry in kept.items() if not isinstance(entry.reading, Quantity)}
    return names


def exponential(tau_s, hold_s=0.0):
    return {"release__t63": hold_s + tau_s, "release__t90": hold_s + tau_s * math.log(10)}


def test_a_law_with_the_times_of_its_release_stays():
    assert not taken_back(entries(**exponential(0.1), release__tau_1=0.1, release__stages=1))
    assert not taken_back(entries(**exponential(0.1, 0.04), release__tau_1=0.1, release__hold=0.04))


def test_one_exponential_of_a_release_that_is_none_is_taken_back():
    read = entries(release__t63=0.1, release__t90=0.174, release__tau_1=0.1, release__stages=1)
    assert taken_back(read) == {"release.tau_1", "release.stages"}


def trace(time_s, gain_db):
    """A gain trace of one release from -10 dB at rest, and the row of times that goes with it."""
    lead = np.linspace(-0.1, -0.01, 20)
    columns = {
        "step": [0] * (lead.size + time_s.size),
        "edge": ["release"] * (lead.size + time_s.size),
        "time_s": [*lead, *time_s],
        "gain_db": [-10.0] * lead.size + list(gain_db),
    }
    times = {"release_t63_s": [1e-4], "release_within_4db_s": [3e-4], "attack_t63_s": [None]}
    tables = {"gain_trace": columns, "timing": times}
    return {name: Table(table, dict.fromkeys(table, "")) for name, table in tables.items()}


def test_a_release_timed_at_a_spike_is_taken_back():
    time_s = np.geomspace(5e-5, 0.5, 200)
    read = entries(release__t63=1e-4, release__t90=2e-4)
    fast, slow = (-10 * np.exp(-time_s / tau) for tau in (1e-4, 0.09))
    assert not taken_back(read, trace(time_s, fast))
    spike = np.where(time_s < 8e-4, 5.0, slow)
    assert taken_back(read, trace(time_s, spike)) == {"release.t63", "release.t90"}
    read = entries(release__within_4db=3e-4)
    assert not taken_back(read, trace(time_s, fast))
    assert taken_back(read, trace(time_s, spike)) == {"release.within_4db"}


def test_a_straight_line_is_judged_by_its_own_times():
    line = {"release__t50": 0.1, "release__rate": 50.0}
    assert not taken_back(entries(release__t90=0.18, **line))
    assert taken_back(entries(release__t90=0.22, **line)) == {"release.rate"}


def test_two_exponentials_are_judged_by_their_own_times():
    times = np.linspace(0, 6, 600_001)
    left = 0.5 * np.exp(-times / 0.06) + 0.5 * np.exp(-times / 1.2)
    t63, t90 = (float(times[np.argmax(left <= level)]) for level in (math.exp(-1), 0.1))
    law = {"release__tau_1": 0.06, "release__tau_2": 1.2, "release__tau_1_share": 50.0}
    assert not taken_back(entries(release__t63=t63, release__t90=t90, **law))
    assert "release.tau_2" in taken_back(entries(release__t63=t63, release__t90=1.5 * t90, **law))


@pytest.mark.parametrize("edge", ["attack", "release"])
def test_times_out_of_order_are_taken_back(edge):
    read = entries(**{f"{edge}__t50": 0.011, f"{edge}__t63": 0.010, f"{edge}__t90": 0.02})
    assert taken_back(read) == {f"{edge}.t50", f"{edge}.t63", f"{edge}.t90"}


def test_a_time_that_may_be_anything_is_a_bound():
    read = {"attack.t90": Entry(Quantity(0.48, -0.32, 1.27, "s"), "")}
    kept, (item,) = reconciled(read, {})
    assert item.withholds == ("attack.t90",) and kept["attack.t90"].reading.at_most == 1.27


def local(slopes):
    levels = np.arange(-30.0, -30 + 3 * len(slopes), 3.0)
    columns = {"input_dbfs": levels.tolist(), "slope": slopes, "slope_std": [0.001] * len(slopes)}
    return {"static_slope": Table(columns, dict.fromkeys(columns, ""))}


def test_a_ratio_that_the_highest_steps_do_not_have_is_taken_back():
    read = entries(static__threshold=-20.0, static__knee_width=4.0, static__slope=0.437, static__ratio=2.289)
    assert not taken_back(read, local([1, 1, 1, 0.8, 0.437, 0.437, 0.437, 0.437]))
    assert taken_back(read, local([1, 1, 1, 0.8, 0.437, 0.44, 0.613, 0.613])) == {
        "static.slope",
        "static.ratio",
    }


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


def ripple(h3_dbc, expected_dbc):
    columns = {"h3_dbc": [h3_dbc], "expected_dbc": [expected_dbc]}
    return {"colour_and_ripple": Table(columns, dict.fromkeys(columns, "dBc"))}


@pytest.mark.parametrize(
    ("share", "h3_dbc", "stays"), [(100, -60.5, True), (100, -40, False), (20, -60, False)]
)
def test_a_share_of_ripple_that_attack_and_release_deny_is_taken_back(share, h3_dbc, stays):
    read = entries(colour__ripple_share=share, colour__ripple_expected=-60.0)
    assert taken_back(read, ripple(h3_dbc, -60.0)) == (set() if stays else {"colour.ripple_share"})


def tones(thd_dbc, origin="none", fundamental_dbfs=-10.0):
    columns = {
        "frequency_hz": [110.0, 997.0],
        "input_dbfs": [-10.0, -10.0],
        "thd_dbc": [-30.0, thd_dbc],
        "fundamental_dbfs": [-10.0, fundamental_dbfs],
        "fundamental_std_db": [0.001, 0.001],
        "origin": ["colour", origin],
    }
    return {"harmonics": Table(columns, dict.fromkeys(columns, ""))}


def bound(name, at_least):
    return {name: Entry(Unmeasured("dBFS", "stays below", "hotter tones", at_least=at_least), "")}


def test_bounds_that_a_quieter_tone_breaks_are_taken_back():
    low = bound("colour.input_at_thd_minus60db", -2.0)
    kept, health = reconciled(low, tones(-70.0))
    assert not health and kept == low  # tones of another frequency are not what it speaks of
    kept, (item,) = reconciled(low, tones(-50.0))
    assert item.withholds == tuple(low) and not kept["colour.input_at_thd_minus60db"].reading.bounded
    kept, (item,) = reconciled(bound("colour.onset", -2.0), tones(-50.0, "colour"))
    assert item.withholds == ("colour.onset",)


def test_harmonics_of_a_tone_that_had_another_gain_than_the_steps_are_taken_back():
    columns = {
        "input_dbfs": [-11.0, -9.0],
        "gain_db": [0.0, 0.0],
        "std_db": [0.001, 0.001],
        "used": [True, True],
        "frequency_hz": [997.0, 997.0],
    }
    steps = {"static": Table(columns, dict.fromkeys(columns, ""))}
    read = entries(colour__h3_at_reference=-60.0, colour__thd_at_reference=-59.0)
    assert not taken_back(read, steps | tones(-59.0))
    assert taken_back(read, steps | tones(-59.0, fundamental_dbfs=-15.4)) == set(read)
