import hashlib
import json
import re
from importlib import resources

import jsonschema
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from charprobe.files.sound.sample_codes import encode
from charprobe.files.sound.sound_file import open_capture, write_wav
from charprobe.stimulus.cue_sheet import (
    CueSheet,
    load_cue_sheet,
    parse_cue_sheet,
    render_cue_sheet,
)
from charprobe.stimulus.recipe import load_recipe, shipped_recipes
from charprobe.stimulus.render import lay_out, render
from charprobe.values.errors import RecipeError

SHEET = CueSheet(lay_out(load_recipe("quick"), rate_hz=48_000, take=7), "pcm24", "ab" * 32)
TEXT = render_cue_sheet(SHEET)


def edited(change):
    table = json.loads(TEXT)
    change(table)
    return json.dumps(table)


@pytest.mark.parametrize("rate_hz", [44_100, 192_000])
@pytest.mark.parametrize("name", shipped_recipes())
def test_every_shipped_recipe_comes_back_equal(name, rate_hz):
    sheet = CueSheet(lay_out(load_recipe(name), rate_hz=rate_hz, take=255), "float32", "0" * 64)
    assert parse_cue_sheet(render_cue_sheet(sheet), source="x") == sheet


def test_the_text_follows_the_shipped_schema():
    schema = json.loads(resources.files("charprobe.stimulus").joinpath("cues-1.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    table = json.loads(TEXT)
    validator.validate(table)
    for key in list(table):
        assert not validator.is_valid({k: v for k, v in table.items() if k != key}), key


def test_the_sheet_beside_a_wav_is_found_and_its_hash_is_that_of_the_samples(tmp_path):
    samples = render(SHEET.stimulus)
    wav = tmp_path / "Été 100 %.wav"
    write_wav(wav, samples, rate_hz=48_000, subtype="pcm24", force=False)
    sha256 = hashlib.sha256(encode(samples[:, None], encoding="pcm24")).hexdigest()
    sheet = CueSheet(SHEET.stimulus, "pcm24", sha256)
    wav.with_suffix(".json").write_text(render_cue_sheet(sheet), encoding="utf-8")
    assert load_cue_sheet(wav) == load_cue_sheet(str(wav.with_suffix(".json"))) == sheet
    capture = open_capture(wav)
    read = encode(capture.read_frames(0, capture.frames), encoding="pcm24")
    assert hashlib.sha256(read).hexdigest() == sheet.sha256


def test_the_first_tone_of_the_sheet_is_what_the_samples_hold():
    tone = json.loads(TEXT)["segments"][0]["tones"][0]
    samples = render(SHEET.stimulus)
    fade = tone["ramp"]  # nothing follows the tone: it fades out as it came in
    n = np.arange(tone["start"] + tone["ramp"], tone["start"] + tone["length"] - fade)
    turns = tone["frequency_hz"] * (n - tone["start"]) / 48_000
    expected = 10 ** (tone["level_dbfs"] / 20) * np.cos(2 * np.pi * turns + tone["phase_rad"])
    # float64 rounding of an argument of up to 1e5 rad
    assert np.max(np.abs(samples[n] - expected)) < 1e-11


def first_tone(table):
    return table["segments"][0]["tones"][0]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            lambda t: t.update(schema="charprobe.cues/9"),
            "not a cue sheet: `schema` is 'charprobe.cues/9'; allowed: \"charprobe.cues/1\"",
        ),
        (lambda t: t.update(rate_hz=48_000.5), "`rate_hz` is 48000.5; allowed: a whole number from 44100"),
        (lambda t: t.update(take=True), "`take` is True; allowed: a whole number from 0 to 255"),
        (lambda t: t.update(extra=1), "there is no key `extra`; known keys: schema, rate_hz"),
        (lambda t: t.pop("ident"), "`ident` is missing; allowed: a table with start, length"),
        (lambda t: t.update(ident=[1, 2]), r"`ident` is \[1, 2\]; allowed: a table with start, length"),
        (lambda t: t["recipe"].update(peak_dbfs=-2.0), "`recipe_hash` is .* one was edited"),
        (lambda t: t["recipe"]["segment"][0].update(kind="noise"), "recipe, segment 1: `kind` is 'noise'"),
        (lambda t: t["segments"].pop(), "`segments` is .*one for each segment of the recipe"),
        (lambda t: t["segments"].reverse(), 'segment 1: `name` is .*; allowed: "'),
        (lambda t: t["segments"][1].update(start=0), "segment 2: `start` is 0; allowed: a whole number from"),
        (lambda t: t["closing"].update(length=10**9), "closing: `length` is 1000000000; allowed"),
        (lambda t: first_tone(t).update(frequency_hz=30_000), "segment 1, tone 1: `frequency_hz` is 30000"),
        (
            lambda t: first_tone(t).update(level_dbfs="loud"),
            "tone 1: `level_dbfs` is 'loud'; allowed: a number",
        ),
        (
            lambda t: first_tone(t).update(level_dbfs=0.5),
            "`level_dbfs` is 0.5; allowed: a number from -200 to 0",
        ),
        (lambda t: first_tone(t).update(group=3), "tone 1: `group` is 3"),
        (
            lambda t: max(t["segments"], key=lambda s: len(s["tones"]))["tones"][1].update(start=0),
            "tone 2: `start` is 0; allowed",
        ),
        (lambda t: t["samples"].update(sha256="zz"), "samples: `sha256` is 'zz'; allowed: 64 hexadecimal"),
        (lambda t: t["samples"].update(subtype="pcm16"), 'allowed: "float32" or "pcm24"'),
    ],
)
def test_a_wrong_value_is_named_with_place_found_and_allowed(change, message):
    with pytest.raises(RecipeError, match=message):
        parse_cue_sheet(edited(change), source="x.json")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "not strict JSON"),
        ("[]", "not a cue sheet"),
        ('{"schema": NaN}', "NaN is not a JSON number"),
        ('{"take": 1e999}', "number 1e999 is out of range"),
        ('{"take": ' + "9" * 5000 + "}", "is out of range"),
        ('{"take": 1, "take": 2}', "key 'take' appears twice"),
        ("[" * 100_000, "line 1: nested deeper than 8 levels"),
    ],
)
def test_what_is_not_strict_json_is_refused(text, message):
    with pytest.raises(RecipeError, match=f"x.json: {'.*' if text else ''}{message}"):
        parse_cue_sheet(text, source="x.json")


def test_missing_binary_and_huge_files_are_named(tmp_path):
    with pytest.raises(RecipeError, match=re.escape("no cue sheet beside take.wav")):
        load_cue_sheet(tmp_path / "take.wav")
    binary = tmp_path / "b.json"
    binary.write_bytes(b'{"schema": "\xff')
    with pytest.raises(RecipeError, match=r"not UTF-8 text \(byte 12\)"):
        load_cue_sheet(binary)
    with binary.open("wb") as stream:
        stream.truncate(20_000_001)
    with pytest.raises(RecipeError, match="too large for a cue sheet"):
        load_cue_sheet(binary)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


def places(value, path=()):
    yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        yield from places(item, (*path, key))


PLACES = [path for path in places(json.loads(TEXT)) if path]


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(PLACES), json_values)
@example(("take",), 9)  # drawn values are hardly ever valid
def test_any_value_put_anywhere_gives_a_valid_sheet_or_a_named_error(path, value):
    table = json.loads(TEXT)
    place = table
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    try:
        sheet = parse_cue_sheet(json.dumps(table), source="x.json")
    except RecipeError as error:
        assert str(error).startswith("x.json")
    else:
        assert parse_cue_sheet(render_cue_sheet(sheet), source="y") == sheet


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=64), st.integers(0, len(TEXT)))
def test_torn_text_never_breaks_the_parser(junk, at):
    with pytest.raises(RecipeError, match=r"x\.json"):
        parse_cue_sheet(TEXT[:at].rstrip("}\n") + junk.decode("latin-1") + "]", source="x.json")
