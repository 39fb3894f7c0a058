"""Harmonics that a replica makes otherwise than tones showed them, against a closed form."""

from dataclasses import replace

import numpy as np

from charprobe.profile.entry import Table
from charprobe.replica.fitting.harmonics_met import missed_harmonics
from charprobe.replica.parts import Chain, Colour
from tests.made_profiles import Setting, made_profile

RATE = 48_000
CUBE = 0.1  # of y = x - CUBE x³
SIZES = np.linspace(0.05, 1.0, 40)
SLOPES_DB = tuple((20 * np.log10(1 - 3 * CUBE * SIZES**2)).tolist())
CHAIN = Chain(colour=Colour("behind", tuple(SIZES.tolist()), SLOPES_DB, (0.0,) * SIZES.size))


def third_dbc(dbfs):
    a = 10 ** (dbfs / 20)
    return 20 * np.log10(CUBE * a**2 / 4 / (1 - 3 / 4 * CUBE * a**2))


def said(chain, *off_db):
    dbfs = [-20.0, -2.0, -2.0]
    columns = {
        "frequency_hz": [997.0, 997.0, 110.0], "input_dbfs": dbfs, "h2_dbc": [None] * 3, "h4_dbc": [None] * 3,
        "h3_dbc": [third_dbc(level) + off for level, off in zip(dbfs, off_db, strict=True)], "h5_dbc": [None] * 3,
    }  # fmt: skip
    profile = made_profile(Setting("one"))
    table = Table(columns, dict.fromkeys(columns, ""))
    return missed_harmonics(chain, replace(profile, curves={"harmonics": table}), rate_hz=RATE)


def test_the_harmonic_that_is_missed_is_named_with_its_pitch_and_level():
    assert said(CHAIN, 0.0, 0.0, 0.0) == "" and said(CHAIN, 20.0, 2.0, -2.0) == ""  # faint, or near enough
    words, here = said(CHAIN, 0.0, 0.0, -9.0), -third_dbc(-2.0)  # −36 dB
    told = f"H3 of 110 Hz at −2 dBFS is −{here + 9:.0f} dB re the tone, −{here:.0f} dB in the replica."
    assert told in words and "997" not in words


def test_a_replica_without_colour_misses_all_that_is_seen():
    assert said(Chain(), 0.0, 0.0, 0.0).count(f"−{-third_dbc(-2.0):.0f} dB re the tone") == 2
