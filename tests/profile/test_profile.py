import dataclasses
import json
import math
from importlib import resources

import jsonschema
import numpy as np
import pytest

from charprobe.profile.entry import Entry, Health, Table
from charprobe.profile.facts import AlignmentFacts, CaptureFacts, MadeWith, StimulusFacts
from charprobe.profile.json_form import FILE
from charprobe.profile.profile import Profile, load_profile
from charprobe.values.errors import OutputError, ProfileError
from charprobe.values.quantity import Quantity, Unmeasured

PLAIN = Profile(
    setting="Vellum $_% <b>\n2 é",
    channel=1,
    capture=CaptureFacts("vellum.wav", "a" * 64, 48_000, 24, 4, 31.123456789),
    stimulus=StimulusFacts("quick", "b" * 64, 3, 48_000),
    alignment=AlignmentFacts(12345.678912, 18.4000004, -1),
    quantities={
        "attack.t63": Entry(Unmeasured("s", "faster than the step", "raise the carrier", at_most=1e-4), ""),
        "static.threshold": Entry(Quantity(-20.123456, -20.2, -20.1, "dBFS"), "997 Hz"),
        "static.slope": Entry(Quantity(0.25, 0.2, 0.3, "dB/dB"), "997 Hz"),
    },
    curves={
        "static": Table(
            {
                "input_dbfs": np.array([-60.0, -50.0000004]),
                "settled": np.array([True, False]),
                "direction": ["rising", "falling"],
                "std_db": [None, 0.001],
                "step": np.array([0, 1]),
            },
            {"input_dbfs": "dBFS", "settled": "", "direction": "", "std_db": "dB", "step": ""},
        )
    },
    health=(
        Health("clock-drift", "note", "Recorder runs fast."),
        Health("click", "warn", "Click.", 1, 2.0, 2.1, ("noise",)),
    ),
    findings=("Compresses 4:1.",),
    made_with=MadeWith("0.1.0", {"bypass": "off.wav"}),
)


def test_a_profile_read_back_equals_the_one_in_memory():
    text = PLAIN.to_json()
    again = Profile.from_json(text, source="x")
    assert again == PLAIN
    assert again.to_json() == text


def test_text_is_strict_json_that_follows_the_shipped_schema():
    schema = json.loads((resources.files("charprobe.profile") / "profile-1.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(json.loads(PLAIN.to_json()), schema)


def test_anatomy_of_a_measured_and_of_a_missing_quantity():
    table = json.loads(PLAIN.to_json())["quantities"]
    assert set(table["static.slope"]) == {"value", "unit", "low", "high", "definition", "conditions"}
    assert table["attack.t63"] == {
        "value": None,
        "unit": "s",
        "reason": "faster than the step",
        "next": "raise the carrier",
        "bound": {"at_most": 1e-4},
    }
    assert list(table) == ["static.threshold", "static.slope", "attack.t63"]  # the glossary's order


def test_numbers_keep_six_digits_and_positions_ten():
    assert PLAIN.quantities["static.threshold"].reading.value == -20.1235
    assert PLAIN.alignment.delay_samples == 12345.67891
    assert list(PLAIN.curves["static"].columns["settled"]) == [True, False]


def test_a_narrow_interval_survives_the_rounding():
    entry = Entry(Quantity(0.15036912345, 0.15036872345, 0.15036952345, "s"), "")
    kept = dataclasses.replace(PLAIN, quantities={"path.latency": entry}).quantities["path.latency"].reading
    assert (kept.value, kept.low, kept.high) == (0.150369123, 0.150368723, 0.150369523)


def test_the_worst_health_comes_first():
    assert [item.severity for item in PLAIN.health] == ["warn", "note"]


@pytest.mark.parametrize(
    ("name", "entry", "match"),
    [
        ("static.colour", Entry(Quantity(1, 1, 1, "dB"), ""), "not in the glossary"),
        ("static.slope", Entry(Quantity(1, 1, 1, "dB"), ""), "glossary says 'dB/dB'"),
        ("static.slope", Entry(Quantity(1, -math.inf, 1, "dB/dB"), ""), "finite"),
    ],
)
def test_a_quantity_outside_the_glossary_is_refused(name, entry, match):
    with pytest.raises(ValueError, match=match):
        dataclasses.replace(PLAIN, quantities={name: entry})


def test_a_missing_cell_is_none_never_nan():
    with pytest.raises(ValueError, match="finite"):
        dataclasses.replace(PLAIN, curves={"static": Table({"gain_db": [math.nan]}, {"gain_db": "dB"})})


def changed(**new):
    return json.dumps(json.loads(PLAIN.to_json()) | new)


BAD_ENTRY = {"static.slope": {"value": None, "unit": "dB/dB", "reason": "because"}}
UNEQUAL = {"a": {"columns": {"x": [1], "y": []}, "units": {"x": "", "y": ""}}}
BAD = {
    "not JSON": ("{", "not strict JSON"),
    "not an object": ("[]", "not a charprobe profile"),
    "nan": (PLAIN.to_json().replace("0.25", "NaN"), "NaN is not a JSON number"),
    "huge number": (PLAIN.to_json().replace("0.25", "1e999"), "out of range"),
    "huge whole number": (PLAIN.to_json().replace("0.25", "9" * 5000), "not strict JSON"),
    "double key": (
        PLAIN.to_json().replace('"findings"', '"setting": "x", "findings"'),
        "'setting' appears twice",
    ),
    "too deep": ("[" * (FILE.most_depth + 1), "nested deeper"),
    "another schema": (
        changed(schema="charprobe.profile/9"),
        "`schema` is 'charprobe.profile/9'; allowed: \"charprobe.profile/1\"",
    ),
    "surplus key": (changed(colour=1), "there is no key `colour`; known keys: schema, setting"),
    "no next": (changed(quantities=BAD_ENTRY), "quantities, static.slope: `next` is missing; allowed: text"),
    "a cell that is a list": (
        changed(curves={"a": {"columns": {"x": [1, [2]]}, "units": {"x": ""}}}),
        r"curves, a, columns: entry 2 of `x` is \[2\]; allowed: a number from -1e.12 to 1e.12, a whole number, .*text or null",
    ),
    "a value beyond all measure": (
        PLAIN.to_json().replace('"at_most": 0.0001', '"at_most": 1e308'),
        "`at_most` is 1e.308; allowed: a number from",
    ),
    "a word among numbers": (
        changed(curves={"a": {"columns": {"x": [1, "loud"]}, "units": {"x": "dB"}}}),
        "allowed: only numbers in column x, not 'loud'",
    ),
    "a bound of nothing": (
        PLAIN.to_json().replace('"at_most": 0.0001', ""),
        "quantities, attack.t63: `bound` is {}; allowed: `at_most`, `at_least` or both",
    ),
    "no polarity": (PLAIN.to_json().replace('"polarity": -1', '"polarity": 0'), "alignment: `polarity` is 0"),
    "a half channel": (changed(channel=1.5), "`channel` is 1.5; allowed: a whole number from 1 to 1024"),
    "unequal columns": (changed(curves=UNEQUAL), "one length"),
    "inverted interval": (
        PLAIN.to_json().replace('"low": 0.2', '"low": 0.9'),
        "not a value inside its interval",
    ),
    "unknown quantity": (PLAIN.to_json().replace("static.slope", "static.slant"), "not in the glossary"),
}


@pytest.mark.parametrize("case", BAD)
def test_a_bad_profile_is_refused_with_its_place(case):
    text, match = BAD[case]
    with pytest.raises(ProfileError, match=match) as caught:
        Profile.from_json(text, source="odd.json")
    assert str(caught.value).startswith(("odd.json: ", "odd.json, "))
    assert len(str(caught.value)) < 500


def test_a_saved_profile_loads_and_is_kept_unless_forced(tmp_path):
    path = tmp_path / "é profile.json"
    PLAIN.save(path, force=False)
    assert load_profile(path) == PLAIN
    with pytest.raises(OutputError, match="already exists"):
        PLAIN.save(path, force=False)
    dataclasses.replace(PLAIN, channel=2).save(path, force=True)
    assert load_profile(path).channel == 2


def test_a_file_that_is_no_profile_is_named(tmp_path):
    path = tmp_path / "odd.json"
    with pytest.raises(ProfileError, match=r"odd\.json: cannot be read: No such file"):
        load_profile(path)
    path.write_bytes(b"RIFF\xff\xfe")
    with pytest.raises(ProfileError, match="not UTF-8 text"):
        load_profile(path)
