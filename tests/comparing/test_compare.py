import csv
import dataclasses
import io
import math

import pytest
from made_profiles import LIMITER, UGLY, B, D, made_profile, noise_spectrum

from charprobe.comparing.compare import compare_profiles
from charprobe.comparing.curves import CURVES
from charprobe.comparing.margins import MARGINS
from charprobe.profile import glossary
from charprobe.profile.entry import Entry, Table
from charprobe.values.errors import OutputError, ProfileError
from charprobe.values.quantity import Quantity, Unmeasured


def pair(first, second):
    return compare_profiles([made_profile(first), made_profile(second)])


def verdicts(comparison):
    return {item.name: item.verdict for item in comparison.differences}


def test_settings_that_differ_in_release_only_are_said_to_share_a_curve():
    comparison = pair(B, D)
    assert "B – slow and D – slower share one static curve (within ±0.1 dB)." in comparison.sentences
    assert "B – slow and D – slower attack equally fast (within a factor of 1.1)." in comparison.sentences
    assert any(
        s.startswith("D – slower releases 3.1 times slower than B – slow (3.0") for s in comparison.sentences
    )
    different = {name for name, verdict in verdicts(comparison).items() if verdict == "different"}
    assert different == {"release.t50", "release.t63", "release.t90", "release trace"}


def test_turned_round_slower_becomes_faster():
    assert any("B – slow releases 3.1 times faster than D – slower" in s for s in pair(D, B).sentences)


def test_only_louder_keeps_the_anchored_curve():
    found = verdicts(pair(B, dataclasses.replace(B, name="loud", makeup_db=4.0)))
    assert found["static curve"] == "different"
    assert found["static curve, anchored"] == "same"
    assert found["static.makeup_gain"] == "different"


@pytest.mark.parametrize(("shift", "verdict"), [(0.05, "same"), (0.2, "different")])
def test_make_up_against_its_margin(shift, verdict):
    other = dataclasses.replace(B, name="other", makeup_db=B.makeup_db + shift)
    assert verdicts(pair(B, other))["static.makeup_gain"] == verdict


def test_a_quantity_without_number_cannot_be_told_and_says_why():
    item = next(d for d in pair(B, D).differences if d.name == "release.memory")
    assert (item.verdict, item.gap) == ("cannot tell", None)
    assert item.reason == "; ".join(
        f"{label}: the recipe has no burst_lengths segment" for label in ("B – slow", "D – slower")
    )


def test_one_input_of_six_that_is_louder_stands_out_in_one_sentence():
    odd = dataclasses.replace(B, makeup_db=B.makeup_db + 0.3)
    profiles = [made_profile(odd if channel == 3 else B, channel=channel) for channel in range(1, 7)]
    sentences = compare_profiles(profiles).sentences
    assert "Channel 3 stands out in make-up gain: 0.29 to 0.31 dB above the others." in sentences
    assert sum("stands out" in line for line in sentences) == 1
    assert "Channels 1 to 6 attack equally fast (within a factor of 1.1)." in sentences


def test_a_clean_pair_says_no_difference_larger_than():
    kept = ("static.threshold", "static.slope", "static.makeup_gain", "attack.t63", "release.t63")
    profiles = []
    for channel in (1, 2):
        full = made_profile(B, channel=channel)
        profiles.append(dataclasses.replace(full, quantities={name: full.quantities[name] for name in kept}))
    line = next(line for line in compare_profiles(profiles).sentences if "no difference" in line)
    assert line.startswith(
        "Channel 1 and Channel 2: no difference larger than static curve ±0.1 dB, attack trace "
        "±0.5 dB, release trace ±0.5 dB, response ±0.2 dB, distortion ±1 dB, bass "
        "distortion ±1 dB, treble distortion ±1 dB, noise spectrum ±3 dB, threshold"
    )


def repeat(setting, number, gain_db):
    profile = made_profile(dataclasses.replace(setting, makeup_db=gain_db))
    capture = dataclasses.replace(profile.capture, sha256=f"{number:064x}")
    return dataclasses.replace(profile, capture=capture)


def test_repeats_that_scatter_widen_the_interval_and_settle_less():
    steady = [repeat(B, 1, 3.0), repeat(B, 2, 3.0), repeat(D, 3, 3.2), repeat(D, 4, 3.2)]
    moving = [repeat(B, 1, 2.8), repeat(B, 2, 3.2), repeat(D, 3, 3.0), repeat(D, 4, 3.4)]
    assert verdicts(compare_profiles(steady))["static.makeup_gain"] == "different"
    assert verdicts(compare_profiles(moving))["static.makeup_gain"] == "cannot tell"
    assert compare_profiles(moving).notes != pair(B, D).notes  # the latter asks for a repeat


def test_the_same_recording_twice_is_refused():
    with pytest.raises(ProfileError, match=r"profiles 1 and 3 are of the same recording"):
        compare_profiles([made_profile(B), made_profile(D), made_profile(B)])
    with pytest.raises(ProfileError, match="at least two"):
        compare_profiles([made_profile(B)])


def test_a_ratio_whose_interval_reaches_zero_is_not_compared():
    profiles = [made_profile(B), made_profile(D)]
    entry = Entry(Quantity(0.001, -0.001, 0.003, "s"), "burst")
    profiles[0] = dataclasses.replace(profiles[0], quantities={"attack.t63": entry})
    item = next(d for d in compare_profiles(profiles).differences if d.name == "attack.t63")
    assert item.reason == "B – slow: its interval reaches zero"


def test_tables_carry_units_in_every_header_and_every_name_in_the_dictionary(tmp_path):
    comparison = pair(UGLY, LIMITER)
    paths = comparison.save(tmp_path / "new", force=False)
    tables = {path.name: read_csv(path) for path in paths if path.suffix == ".csv"}
    header = tables["values.csv"][0]
    assert all(cell.endswith("]") for cell in header[1:])
    dictionary = {row[0]: row[1] for row in tables["dictionary.csv"][1:]}
    for cell in header[2:]:
        name = cell.split(" ")[0]
        assert dictionary[name] == glossary.term(name).unit
    assert {row[0] for row in tables["differences.csv"][1:]} <= set(dictionary)
    with pytest.raises(OutputError, match="already exists"):
        comparison.save(tmp_path / "new", force=False)


def read_csv(path):
    return list(csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig"), newline="")))


def test_two_runs_give_the_same_bytes(tmp_path):
    first = [path.read_bytes() for path in pair(B, UGLY).save(tmp_path / "a", force=False)]
    assert first == [path.read_bytes() for path in pair(B, UGLY).save(tmp_path / "b", force=False)]


def test_every_margin_is_of_a_known_quantity_and_has_a_reason():
    for name, margin in MARGINS.items():
        assert name in glossary.TERMS or name in CURVES
        assert len(margin.reason) > 15
        assert margin.size > (1 if margin.scale == "ratio" else 0)


def bounded(setting, name, **bound):
    profile = made_profile(setting)
    unit = glossary.term(name).unit
    return dataclasses.replace(
        profile, quantities={name: Entry(Unmeasured(unit, "hidden", "longer tones", **bound), "")}
    )


@pytest.mark.parametrize(
    ("bound", "verdict", "least"),
    [
        ({"at_most": -112.0}, "different", "+52 dB or beyond"),
        ({"at_most": -61.0}, "cannot tell", "–"),
        ({}, "cannot tell", "–"),
    ],
)
def test_a_number_far_beyond_the_other_sides_bound_is_different(bound, verdict, least):
    clean = bounded(D, "colour.h2_at_reference", **bound)
    comparison = compare_profiles([clean, made_profile(B)])  # H2 of B is -60 dBc
    item = next(d for d in comparison.differences if d.name == "colour.h2_at_reference")
    assert item.verdict == verdict
    assert item.text.startswith(least)


def test_a_time_beyond_a_bound_is_different_in_either_order():
    slow = bounded(D, "release.t63", at_least=0.6)  # that of B is 0.12 s, at most 0.1209 s
    for profiles, text in (
        ([slow, made_profile(B)], "× 0.202 or less"),
        ([made_profile(B), slow], "× 4.96 or more"),
    ):
        item = next(d for d in compare_profiles(profiles).differences if d.name == "release.t63")
        assert (item.verdict, item.text) == ("different", text)


def test_a_curve_that_ends_early_is_not_said_to_be_the_same():
    short = made_profile(D)
    table = short.curves["static"]
    used = [level < -25 for level in table.columns["input_dbfs"]]
    short = dataclasses.replace(short, curves={"static": Table({**table.columns, "used": used}, table.units)})
    found = verdicts(compare_profiles([made_profile(B), short]))
    assert found["static curve"] == "cannot tell"


def test_channels_that_match_are_told_in_one_sentence():
    kept = ("static.threshold", "static.makeup_gain")
    odd = dataclasses.replace(B, makeup_db=4.0)
    profiles = []
    for channel in range(1, 6):
        full = made_profile(odd if channel == 4 else B, channel=channel)
        profiles.append(dataclasses.replace(full, quantities={name: full.quantities[name] for name in kept}))
    told = [line for line in compare_profiles(profiles).sentences if "no difference larger" in line]
    assert len(told) == 1
    assert told[0].startswith("Channels 1 to 3 and 5: no difference larger than static curve ±0.1 dB")


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
        assert any("response +0.5" in line for line in comparison.sentences)


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
    assert any("distortion +3.0" in line for line in comparison.sentences) == (verdict == "different")


@pytest.mark.parametrize(
    ("changes", "attack", "release"),
    [
        ({"makeup_db": 5.0}, "same", "same"),
        ({"attack_s": B.attack_s * 1.02}, "same", "same"),
        ({"attack_s": B.attack_s * 1.5}, "different", "same"),
        ({"slow_share": 0.2}, "same", "different"),
    ],
)
def test_gain_traces_are_compared_as_a_whole_less_the_gain_at_rest(changes, attack, release):
    found = {d.name: d for d in pair(B, dataclasses.replace(B, name="other", **changes)).differences}
    assert (found["attack trace"].verdict, found["release trace"].verdict) == (attack, release)
    if "attack_s" in changes and attack == "different":
        # two exponentials part most at tau ln(k) k / (k - 1)
        k, depth = 1.5, 10.5
        apart = depth * ((1 / k) ** (1 / (k - 1)) - (1 / k) ** (k / (k - 1)))
        assert found["attack trace"].gap.value == pytest.approx(apart, abs=0.02)


def test_gain_traces_of_other_bursts_are_not_compared():
    one, other = made_profile(B), made_profile(dataclasses.replace(B, name="other"))
    timing = other.curves["timing"]
    moved = Table({**timing.columns, "carrier_hz": [997.0]}, timing.units)
    other = dataclasses.replace(other, curves={**other.curves, "timing": moved})
    item = next(d for d in compare_profiles([one, other]).differences if d.name == "attack trace")
    assert (item.verdict, item.gap) == ("cannot tell", None)
    assert "conditions" in item.reason


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


def test_a_curve_has_the_margin_it_is_given():
    profiles = [
        made_profile(B),
        made_profile(dataclasses.replace(B, name="other", attack_s=B.attack_s * 1.5)),
    ]
    wide = dataclasses.replace(MARGINS["attack trace"], size=3.0)
    for margins, verdict in ((MARGINS, "different"), ({**MARGINS, "attack trace": wide}, "same")):
        found = compare_profiles(profiles, margins=margins).differences
        assert next(d for d in found if d.name == "attack trace").verdict == verdict
    assert set(CURVES) <= set(MARGINS)


def test_two_repeats_of_one_side_do_not_drown_a_difference_that_the_other_states():
    """4 ms twice, nearly alike, against 20 ms within 5 %: one degree of freedom behind a tiny part of the doubt."""

    def timed(name, number, value, std):
        profile = repeat(dataclasses.replace(B, name=name), number, B.makeup_db)
        return dataclasses.replace(
            profile, curves={}, quantities={"attack.t63": Entry(Quantity.from_std(value, std, "s"), "burst")}
        )

    quick = [timed("quick", 1, 0.0040764, 4e-7), timed("quick", 2, 0.0040734, 1e-6)]
    found = compare_profiles([*quick, timed("slow", 3, 0.0201, 0.0005)]).differences
    assert [d.verdict for d in found if d.name == "attack.t63"] == ["different"]
