import dataclasses
import math

import pytest
from made_profiles import B, made_profile, noise_spectrum

from charprobe.comparing.compare import compare_profiles
from charprobe.profile.entry import Table


def with_response(setting, shelf_db, *, std_db=0.005, top_hz=20_000.0):
    """A first-order shelf above 4 kHz, in closed form, and a fixed gain that must not matter."""
    hz = [20.0 * 2 ** (i / 10) for i in range(100) if 20.0 * 2 ** (i / 10) <= top_hz]
    ratio = 10 ** (shelf_db / 20)
    values = [4.0 + 20 * math.log10(abs(complex(1, ratio * f / 4000) / complex(1, f / 4000))) for f in hz]
    table = Table(
        {"frequency_hz": hz, "magnitude_db": values, "magnitude_std_db": [std_db] * len(hz), "drive_dbfs": [-40.0] * len(hz)},
        {"frequency_hz": "Hz", "magnitude_db": "dB", "magnitude_std_db": "dB", "drive_dbfs": "dBFS"},
    )  # fmt: skip
    profile = made_profile(setting)
    return dataclasses.replace(profile, curves={**profile.curves, "response": table})


@pytest.mark.parametrize(
    ("shelf_db", "std_db", "top_hz", "verdict"),
    [
        (0.1, 0.005, 20_000.0, "same"),
        (0.6, 0.005, 20_000.0, "different"),
        (0.1, 0.2, 20_000.0, "cannot tell"),
        (0.0, 0.005, 9_000.0, "cannot tell"),  # one of them ends half-way
    ],
)
def test_responses_are_compared_as_a_whole(shelf_db, std_db, top_hz, verdict):
    flat = with_response(B, 0.0)
    other = with_response(
        dataclasses.replace(B, name="other", makeup_db=5.0), shelf_db, std_db=std_db, top_hz=top_hz
    )
    comparison = compare_profiles([flat, other])
    item = next(d for d in comparison.differences if d.name == "response")
    assert item.verdict == verdict
    if verdict == "different":  # the shelf at 20 kHz, less what it does at 1 kHz
        at = {
            f: 20 * math.log10(abs(complex(1, 10**0.03 * f / 4000) / complex(1, f / 4000)))
            for f in (1000.0, 19_870.0)
        }
        assert item.gap.value == pytest.approx(at[19_870.0] - at[1000.0], abs=0.01)
        assert any("response up to 0.5 dB higher" in line for line in comparison.sentences)


def with_harmonics(setting, thd_dbc, *, limit_dbc=-110.0):
    """THD that grows by 2 dB per dB, read at 443 and 997 Hz; the former must not matter."""
    rows = [
        (hz, level, thd_dbc + 2 * (level + 20) + (0 if hz == 997.0 else 9))
        for hz in (443.0, 997.0)
        for level in range(-40, 0, 4)
    ]
    table = Table(
        {
            "frequency_hz": [hz for hz, _, _ in rows],
            "input_dbfs": [float(level) for _, level, _ in rows],
            "thd_dbc": [thd if thd > limit_dbc else None for _, _, thd in rows],
            "limit_dbc": [limit_dbc] * len(rows),
            "near_bypass": [""] * len(rows),
        },
        {"frequency_hz": "Hz", "input_dbfs": "dBFS", "thd_dbc": "dBc", "limit_dbc": "dBc", "near_bypass": ""},
    )  # fmt: skip
    profile = made_profile(setting)
    return dataclasses.replace(profile, curves={**profile.curves, "harmonics": table})


@pytest.mark.parametrize(
    ("shift_db", "limit_dbc", "verdict"),
    [(0.3, -110.0, "same"), (3.0, -110.0, "different"), (0.3, -66.0, "")],
)
def test_distortion_is_compared_against_level(shift_db, limit_dbc, verdict):
    one = with_harmonics(B, -60.0, limit_dbc=limit_dbc)
    other = with_harmonics(dataclasses.replace(B, name="other"), -60.0 + shift_db, limit_dbc=limit_dbc)
    comparison = compare_profiles([one, other])
    found = [d for d in comparison.differences if d.name == "distortion"]
    assert [d.verdict for d in found] == ([verdict] if verdict else [])
    for item in found:
        assert item.gap.value == pytest.approx(shift_db, abs=0.01)
    bass = [d for d in comparison.differences if d.name == "bass distortion"]  # of 443 Hz, 9 dB louder
    assert all(d.gap.value == pytest.approx(shift_db, abs=0.01) for d in bass if d.gap)
    assert not any(d.name == "treble distortion" for d in comparison.differences)  # 997 Hz is the highest
    assert any("distortion up to 3.0 dB higher" in line for line in comparison.sentences) == (
        verdict == "different"
    )


def verdict_on_distortion(one, other):
    return {d.name: d.verdict for d in compare_profiles([one, other]).differences}["distortion"]


def test_distortion_of_tones_that_still_moved_is_compared_with_their_doubt():
    one = with_harmonics(B, -60.0, limit_dbc=-110.0)
    other = with_harmonics(dataclasses.replace(B, name="other"), -57.0, limit_dbc=-110.0)
    table = other.curves["harmonics"]
    doubted = table.columns | {"thd_std_db": [10.0] * len(table.columns["thd_dbc"])}
    doubted = dataclasses.replace(table, columns=doubted, units=table.units | {"thd_std_db": "dB"})
    assert verdict_on_distortion(one, other) == "different"
    doubted = dataclasses.replace(other, curves={**other.curves, "harmonics": doubted})
    assert verdict_on_distortion(one, doubted) == "cannot tell"


def test_distortion_of_more_harmonics_in_a_wider_band_is_not_set_against_that_of_fewer():
    one = with_harmonics(B, -60.0, limit_dbc=-110.0)
    other = with_harmonics(dataclasses.replace(B, name="other"), -57.0, limit_dbc=-110.0)
    narrow = dataclasses.replace(other, capture=dataclasses.replace(other.capture, rate_hz=16_000))
    assert verdict_on_distortion(one, narrow) == "cannot tell"  # eight times 997 Hz is the highest there


def with_noise(setting, *, shelf_db=0.0, std_times=1.0):
    table = noise_spectrum(shelf_db=shelf_db)
    stds = [std_times * cell for cell in table.columns["density_std_db"]]
    table = Table({**table.columns, "density_std_db": stds}, table.units)
    profile = made_profile(setting)
    return dataclasses.replace(profile, curves={**profile.curves, "noise_spectrum": table})


@pytest.mark.parametrize(
    ("shelf_db", "std_times", "verdict"),
    [(1.0, 1.0, "same"), (6.0, 1.0, "different"), (1.0, 10.0, "cannot tell")],
)
def test_noise_spectra_are_compared_in_octaves(shelf_db, std_times, verdict):
    other = with_noise(dataclasses.replace(B, name="other"), shelf_db=shelf_db, std_times=std_times)
    comparison = compare_profiles([with_noise(B), other])
    item = next(d for d in comparison.differences if d.name == "noise spectrum")
    assert item.verdict == verdict
    assert item.gap.value == pytest.approx(shelf_db, abs=0.01)
