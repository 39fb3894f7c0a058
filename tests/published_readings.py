"""Readings as a profile publishes them, and which of them the judge of consistency takes back."""

import math

import numpy as np

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
    assert names == {
        name
        for name, entry in kept.items()
        if not isinstance(entry.reading, Quantity) and isinstance(published[name].reading, Quantity)
    }
    return names


def exponential(tau_s, hold_s=0.0):
    return {"release__t63": hold_s + tau_s, "release__t90": hold_s + tau_s * math.log(10)}


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


def local(slopes):
    levels = np.arange(-30.0, -30 + 3 * len(slopes), 3.0)
    columns = {"input_dbfs": levels.tolist(), "slope": slopes, "slope_std": [0.001] * len(slopes)}
    return {"static_slope": Table(columns, dict.fromkeys(columns, ""))}


def ripple(h3_dbc, expected_dbc):
    columns = {"h3_dbc": [h3_dbc], "expected_dbc": [expected_dbc]}
    return {"colour_and_ripple": Table(columns, dict.fromkeys(columns, "dBc"))}


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
