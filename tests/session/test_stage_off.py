import dataclasses

import pytest
from made_profiles import B, made_profile

from charprobe.profile.entry import Entry, Table
from charprobe.session.stage_off import check_stage_off
from charprobe.values.quantity import Quantity

UNITS = {"frequency_hz": "Hz", "magnitude_db": "dB", "phase_deg": "deg", "drive_dbfs": "dBFS"}


def stage_off(*, gain_db=0.0, latency=0.0, reach=0.02, tilt_db=0.0, channel=1):
    hz = [10.0, 20.0, 200.0, 1000.0, 20_000.0, 22_000.0]
    response = {
        "frequency_hz": hz * 2,
        "magnitude_db": [
            -9.0,
            tilt_db,
            0.0,
            0.0,
            0.0,
            -9.0,
            -9.0,
            -9.0,
            0.0,
            0.0,
            0.0,
            0.0,
        ],  # then the hotter drive
        "phase_deg": [0.0] * 12,
        "drive_dbfs": [-30.0] * 6 + [-10.0] * 6,
    }
    entries = {
        "static.makeup_gain": Entry(Quantity(gain_db, gain_db - reach, gain_db + reach, "dB"), ""),
        "path.latency_samples": Entry(Quantity(latency, latency - 0.01, latency + 0.01, "samples"), ""),
    }
    made = made_profile(B, channel=channel)
    return dataclasses.replace(made, quantities=entries, curves={"response": Table(response, UNITS)})


@pytest.mark.parametrize(
    ("change", "answer", "because"),
    [
        ({}, "supported", "gain +0.00 dB"),
        ({"gain_db": 0.3}, "contradicted", "gain +0.30 dB"),
        ({"gain_db": 0.09, "reach": 0.05}, "not enough evidence", "gain +0.09 dB"),
        ({"latency": 12.0}, "contradicted", "latency +12.00 samples"),
        ({"tilt_db": -0.4}, "contradicted", "response within 0.40 dB of that at 1 kHz"),
        ({"tilt_db": 0.05}, "supported", "response within 0.05 dB of that at 1 kHz"),
    ],
)
def test_a_stage_that_is_off_is_held_against_the_loop_back(change, answer, because):
    (claim,) = check_stage_off([stage_off(**change)])
    assert (claim.answer, "channel" in claim.text) == (answer, False)
    assert because in claim.because


def test_every_channel_is_answered_and_named():
    claims = check_stage_off([stage_off(), stage_off(channel=2, gain_db=3.0)])
    assert [claim.answer for claim in claims] == ["supported", "contradicted"]
    assert [claim.text[-11:] for claim in claims] == ["(channel 1)", "(channel 2)"]


def test_one_number_alone_is_too_little():
    bare = stage_off()
    bare = dataclasses.replace(
        bare, curves={}, quantities={"static.makeup_gain": bare.quantities["static.makeup_gain"]}
    )
    (claim,) = check_stage_off([bare])
    assert (claim.answer, claim.because) == ("not enough evidence", "too little was measured")
    assert check_stage_off([]) == ()
