"""Every parser of files that nobody vouches for, fuzzed with coverage as the guide.

One second each; ``FUZZ_SECONDS=600 pytest tests/test_fuzz.py`` goes on for longer and from another seed.
"""

import io
import json
import os
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from coverage_guided import fuzz

from charprobe.files.repair import write_repaired_copy
from charprobe.files.sound_file import open_capture
from charprobe.files.wav_header import wav_header
from charprobe.listening.blind.key import BlindError, read_key, seal_of
from charprobe.listening.blind.score import score
from charprobe.measuring.characterise import characterise
from charprobe.measuring.health.file_facts import check_file
from charprobe.measuring.health.sample_facts import gather_sample_facts
from charprobe.profile.entry import Entry, Health, Table
from charprobe.profile.facts import AlignmentFacts, CaptureFacts, MadeWith, StimulusFacts
from charprobe.profile.profile import Profile
from charprobe.profile.volts_file import load_volts
from charprobe.session.file import STARTER, parse_session
from charprobe.stimulus.cue_sheet import CueSheet, parse_cue_sheet, render_cue_sheet
from charprobe.stimulus.recipe import load_recipe, parse_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.errors import (
    CharprobeError,
    ProfileError,
    RecipeError,
    SessionError,
    SoundFileError,
    VoltsError,
)
from charprobe.values.quantity import Quantity, Unmeasured

LONGER = "FUZZ_SECONDS" in os.environ
SECONDS = float(os.environ.get("FUZZ_SECONDS", "1"))
JSON_WORDS = [b'"', b"{", b"}", b"[", b"]", b",", b":", b"null", b"true", b"-1", b"1e999", b"NaN", b"0.5", b"\\u0000",
              b"99999999999999999999", b"\xff", b'"schema"']  # fmt: skip
WAV_WORDS = [b"RIFF", b"RF64", b"WAVE", b"fmt ", b"data", b"ds64", b"LIST", b"fact", b"\xfe\xff", b"\x03\0", b"\x01\0",
             b"\xff\xff\xff\xff", b"\0\0\0\0", b"fLaC", b"FORM", b"caff"]  # fmt: skip
RECIPE = b"""schema = "charprobe.recipe/1"
name = "small"
summary = "one segment of each kind of value"
peak_dbfs = -1.0
[[segment]]
kind = "level_steps"
name = "steps"
frequency_hz = 997.0
from_dbfs = -40.0
to_dbfs = -10.0
step_db = 10.0
step_s = 0.5
falling = false
[[segment]]
kind = "tones"
name = "tones"
frequencies_hz = [100.0, 1000.0]
levels_dbfs = [-20.0]
tone_s = 0.5
"""
VOLTS = b"[[reading]]\ndbfs = -20.0\nvolts = 0.775\n[[reading]]\ndbfs = 0\nvolts = 7.7\n"
SESSION = b"""schema = "charprobe.session/1"
title = "small"
recipe = "quick"
bypass = "off.wav"
[device]
name = "made up"
[[setting]]
name = "one"
captures = ["one.wav", "sub/two.wav"]
channels = [1, 2]
[[setting]]
name = "two"
captures = ["three.wav"]
[[claim]]
says = "same"
settings = ["one", "two"]
of = "attack.t63"
"""


def sound_starts():
    samples = np.random.default_rng(0).uniform(-0.9, 0.9, (200, 2))
    starts = []
    for kind, subtype in (
        ("WAV", "PCM_24"),
        ("WAVEX", "FLOAT"),
        ("RF64", "PCM_16"),
        ("AIFF", "PCM_24"),
        ("CAF", "PCM_24"),
    ):
        buffer = io.BytesIO()
        soundfile.write(buffer, samples, 48_000, format=kind, subtype=subtype)
        starts.append(buffer.getvalue())
    rest = bytes(np.random.default_rng(1).integers(0, 256, 600, dtype=np.uint8))
    starts += [
        wav_header(encoding=code, rate_hz=44_100, channels=3, frames=25) + rest
        for code in ("float64", "pcm8")
    ]
    return starts


def cue_starts():
    sheet = CueSheet(
        lay_out(parse_recipe(RECIPE.decode(), source="x"), rate_hz=48_000, take=1), "pcm24", "0" * 64
    )
    return [render_cue_sheet(sheet).encode()]


def profile_starts():
    profile = Profile(
        setting="small",
        channel=1,
        capture=CaptureFacts("a.wav", "a" * 64, 48_000, 24, 1, 30.0),
        stimulus=StimulusFacts("quick", "b" * 64, 3, 48_000),
        alignment=AlignmentFacts(12.5, 1.25, -1),
        quantities={
            "static.slope": Entry(Quantity(0.25, 0.2, 0.3, "dB/dB"), "997 Hz"),
            "attack.t63": Entry(Unmeasured("s", "too fast", "raise the carrier", at_most=1e-4), ""),
        },
        curves={
            "static": Table({"input_dbfs": [-60.0], "settled": [True]}, {"input_dbfs": "dBFS", "settled": ""})
        },
        health=(Health("click", "warn", "Click.", 1, 2.0, 2.1, ("noise",)),),
        findings=("Compresses 4:1.",),
        made_with=MadeWith("0.1.0", {"bypass": "off.wav"}),
    )
    return [profile.to_json().encode()]


def key_starts():
    trial = {"left": "dry", "right": "processed", "middle": "left"}
    body = {
        "schema": "charprobe.blind-key/1", "pack": "a1", "nonce": "b2", "trials": [trial, trial], "sounds": {"x.wav": "dry"},
        "sources": {"dry": "0" * 64}, "start_s": 1.5, "length_s": 4.0, "level": 0.05,
    }  # fmt: skip
    return [json.dumps(body).encode()]


def result_starts(seal):
    answers = [{"answer": "left", "sure": 2}, {"answer": "right", "sure": 0}]
    body = {
        "schema": "charprobe.blind-result/1",
        "pack": "a1",
        "seal": seal,
        "attempt": 1,
        "answers": answers,
    }
    return [json.dumps(body).encode()]


def as_text(parse):
    return lambda data: parse(data.decode("utf-8", "surrogateescape"), source="x")


TEXTS = {
    "recipe": (
        as_text(parse_recipe),
        [RECIPE],
        [*JSON_WORDS, b"[[segment]]", b"=", b"\n", b"kind"],
        RecipeError,
    ),
    "cue sheet": (as_text(parse_cue_sheet), cue_starts(), JSON_WORDS, RecipeError),
    "session": (
        lambda data: parse_session(data.decode("utf-8", "surrogateescape"), path=Path("x.toml")),
        [SESSION, STARTER.encode()],
        [*JSON_WORDS, b"[[setting]]", b"[[claim]]", b"[device]", b"=", b"\n"],
        SessionError,
    ),
    "profile": (as_text(Profile.from_json), profile_starts(), JSON_WORDS, ProfileError),
}


def rng_of(name):
    return np.random.default_rng([len(name), time.time_ns() if LONGER else 0])


@pytest.mark.parametrize("name", TEXTS)
def test_a_text_parses_or_gives_a_message(name, record_property):
    target, starts, words, allowed = TEXTS[name]
    target(starts[0])  # what is imported and built on first use is no part of the time
    found = fuzz(target, starts=starts, words=words, allowed=allowed, seconds=SECONDS, rng=rng_of(name))
    record_property("tried, lines, kept", found)
    assert found[0] > 20
    assert found[2] > len(starts), "the mutations reach nothing new: the guide is broken"


def test_a_sound_file_is_judged_or_gives_a_message(tmp_path, record_property):
    path, out = tmp_path / "a.wav", tmp_path / "b.wav"

    def judge(data):
        path.write_bytes(data)
        capture = open_capture(path)
        assert capture.frames * capture.channels < 50 * len(data)
        check_file(capture, gather_sample_facts(capture))
        write_repaired_copy(path, out, force=True)

    found = fuzz(
        judge,
        starts=sound_starts(),
        words=WAV_WORDS,
        allowed=SoundFileError,
        seconds=SECONDS,
        rng=rng_of("sound"),
    )
    record_property("tried, lines, kept", found)
    assert found[2] > len(sound_starts()), "the mutations reach nothing new: the guide is broken"


@pytest.mark.parametrize("name", ["volts", "blind key", "blind result"])
def test_a_small_file_is_read_or_gives_a_message(name, tmp_path, record_property):
    path, key = tmp_path / "a.file", tmp_path / "key.json"
    key.write_bytes(key_starts()[0])
    target, starts, words, allowed = {
        "volts": (load_volts, [VOLTS], [*JSON_WORDS, b"[[reading]]", b"=", b"\n"], VoltsError),
        "blind key": (read_key, key_starts(), JSON_WORDS, BlindError),
        "blind result": (
            lambda file: score(file, key_path=key), result_starts(seal_of(key.read_bytes())), JSON_WORDS, BlindError
        ),
    }[name]  # fmt: skip

    def read(data):
        path.write_bytes(data)
        target(path)

    read(starts[0])
    found = fuzz(read, starts=starts, words=words, allowed=allowed, seconds=SECONDS, rng=rng_of(name))
    record_property("tried, lines, kept", found)
    assert found[2] > len(starts), "the mutations reach nothing new: the guide is broken"


def test_a_damaged_capture_is_measured_or_gives_a_message(tmp_path, record_property):
    """Header and samples of a real capture are cut, zeroed, repeated, turned and overwritten."""
    recipe = parse_recipe(RECIPE.decode(), source="x")
    stimulus = lay_out(recipe, rate_hz=44_100, take=1)
    sound, path = 0.5 * render(stimulus)[:, None], tmp_path / "a.wav"
    soundfile.write(path, sound, 44_100, subtype="PCM_16")
    good = path.read_bytes()

    def measure(script):
        data = bytearray(good)
        for start in range(0, len(script) - 7, 8):
            damage(data, script[start : start + 8])
        path.write_bytes(data)
        capture = open_capture(path)
        characterise(capture, stimulus, channel=1, setting="x", bypass=None)

    measure(b"")
    found = fuzz(
        measure,
        starts=[bytes(8), bytes(range(24))],
        words=[bytes([op, 0, place, 0, 1, 0, 255, 127]) for op in range(6) for place in (0, 20, 60)],
        allowed=CharprobeError,
        seconds=10 * SECONDS,
        rng=rng_of("damaged"),
    )
    record_property("tried, lines, kept", found)
    assert found[0] > 3


def damage(data, edit):
    """Apply one edit of eight bytes: what, where (16 bits of the length), how long, and a value."""
    what, place, length, value = edit[0] % 6, *(int.from_bytes(edit[i : i + 2], "little") for i in (1, 3, 5))
    at = place * len(data) // 65_536 if edit[7] % 4 else place % 60  # one in four in the header
    stop = min(len(data), at + 1 + length)
    if what == 0:
        del data[at:stop]
    elif what == 1:
        data[at:stop] = bytes(stop - at)
    elif what == 2:
        data[at:at] = data[at:stop]
    elif what == 3:
        data[at:stop] = data[at:stop][::-1]
    elif what == 4:
        data[at:stop] = (value.to_bytes(2, "little") * (stop - at))[: stop - at]
    else:
        del data[max(44, at) :]


def test_the_fuzzer_finds_a_planted_fault():
    def planted(data):
        recipe = parse_recipe(data.decode("utf-8", "replace"), source="x")
        if len(recipe.segments) == 1:
            raise ZeroDivisionError("planted")

    assert len(load_recipe("quick").segments) > 1
    with pytest.raises(ZeroDivisionError) as caught:
        fuzz(
            planted,
            starts=[RECIPE],
            words=[b"\n"],
            allowed=CharprobeError,
            seconds=20,
            rng=np.random.default_rng(0),
        )
    assert "input (" in caught.value.__notes__[0]
