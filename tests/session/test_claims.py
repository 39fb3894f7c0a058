import dataclasses

import pytest
from made_profiles import LIMITER, B, D, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.profile.entry import Health
from charprobe.session.claims import check_claims
from charprobe.session.file import Claim

LOUD = dataclasses.replace(B, name="loud", makeup_db=B.makeup_db + 2)
NAMES = {"B": B.name, "D": D.name, "limiter": LIMITER.name, "loud": "loud"}


def answer(says, *who, **more):
    profiles = [made_profile(setting) for setting in (B, D, LIMITER, LOUD)]
    claim = Claim(says, tuple(NAMES.get(name, name) for name in who), **more)
    return check_claims([claim], compare_profiles(profiles), profiles)[0]


@pytest.mark.parametrize(
    ("says", "who", "of", "expected"),
    [
        ("same", ("B", "D"), "", "supported"),
        ("same", ("B", "D"), "release.t63", "contradicted"),
        ("different", ("B", "D"), "release.t63", "supported"),
        ("different", ("B", "D"), "attack.t63", "contradicted"),
        ("same", ("B", "D"), "release.memory", "not enough evidence"),
        ("same", ("B", "D"), "static.ratio", "supported"),  # judged by the slope
        ("different", ("B", "limiter"), "static.ratio", "supported"),
        ("same", ("B", "limiter"), "", "contradicted"),
        ("identical", ("B", "D"), "", "contradicted"),
        ("only louder", ("B", "loud"), "", "supported"),
        ("only louder", ("B", "D"), "", "contradicted"),
        ("only louder", ("B", "limiter"), "", "contradicted"),
        ("same", ("B", "never measured"), "", "not enough evidence"),
    ],
)
def test_claims_are_decided_by_the_verdicts(says, who, of, expected):
    checked = answer(says, *who, of=of)
    assert checked.answer == expected
    assert checked.because


@pytest.mark.parametrize(
    ("below", "limit", "expected"),
    # H2 is -60 dBc at -20 dBFS and moves by 0.9 dB per dB; what is hidden lies under -116 - level/2 dBc
    [
        (-30.0, -60.0, "supported"),
        (-6.0, -60.0, "contradicted"),
        (-40.0, -99.0, "contradicted"),
        (-30.0, -40.0, "supported"),
        (-33.0, -60.0, "supported"),  # between two steps that are clean
        (-19.0, -60.0, "not enough evidence"),  # is -59.1 dBc there, clean at -24 and not at -18 dBFS
        (-3.0, -40.0, "not enough evidence"),  # no step above -6 dBFS
    ],
)
def test_clean_below_looks_at_every_harmonic_of_every_step(below, limit, expected):
    assert answer("clean below", "B", below_dbfs=below, limit_dbc=limit).answer == expected


def test_what_the_noise_hides_is_no_evidence_of_cleanness():
    quiet = dataclasses.replace(B, name="quiet", h2_dbc=-150.0, h3_dbc=-160.0)
    claim = Claim("clean below", ("quiet",), below_dbfs=-40.0, limit_dbc=-110.0)
    checked = check_claims([claim], None, [made_profile(quiet)])[0]
    assert checked.answer == "not enough evidence"  # the limit is -92 dBc at -48 dBFS
    assert "noise hides" in checked.because


def test_a_table_that_was_taken_back_is_named_as_the_lack():
    profile = made_profile(B)
    lost = Health("lossy-coded", "stop", "Coded", 0, withholds=("colour",))
    curves = {name: table for name, table in profile.curves.items() if name != "harmonics"}
    spoiled = dataclasses.replace(profile, curves=curves, health=(lost,))
    claim = Claim("clean below", (B.name,), below_dbfs=-30.0, limit_dbc=-60.0)
    (checked,) = check_claims([claim], None, [spoiled])
    assert checked.answer == "not enough evidence"
    assert checked.because == "its table of harmonics was taken back (lossy-coded): mend that and retake"
