"""Every parser of files that nobody vouches for, fuzzed with coverage as the guide.

One second each, under a limit of memory and, for each input, of time; ``FUZZ_SECONDS=600 pytest tests/test_fuzz.py`` goes on for longer and from another seed.
"""

import os
import time
from pathlib import Path

import coverage_guided
import numpy as np
import pytest
import soundfile
from coverage_guided import fuzz, fuzz_within_limits
from fuzz_starts import (
    JSON_WORDS,
    RECIPE,
    SESSION,
    TOML_WORDS,
    VOLTS,
    WAV_WORDS,
    cue_starts,
    key_starts,
    profile_starts,
    replica_starts,
    result_starts,
    sound_starts,
)

from charprobe.files.sound.repair import write_repaired_copy
from charprobe.files.sound.sound_file import open_capture
from charprobe.listening.blind.key import BlindError, read_key, seal_of
from charprobe.listening.blind.score import score
from charprobe.measuring.characterise import characterise
from charprobe.measuring.health.file.file_facts import check_file
from charprobe.measuring.health.file.sample_facts import gather_sample_facts
from charprobe.profile.profile import Profile
from charprobe.profile.volts_file import load_volts
from charprobe.replica.chain import play
from charprobe.replica.model import Replica
from charprobe.session.file import STARTER, parse_session
from charprobe.stimulus.cue_sheet import parse_cue_sheet
from charprobe.stimulus.recipe import load_recipe, parse_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.errors import (
    CharprobeError,
    ProfileError,
    RecipeError,
    ReplicaError,
    SessionError,
    SoundFileError,
    VoltsError,
)

LONGER = "FUZZ_SECONDS" in os.environ
SECONDS = float(os.environ.get("FUZZ_SECONDS", "1"))


def as_text(parse):
    return lambda data: parse(data.decode("utf-8", "surrogateescape"), source="x")


def run_replica(text, source):
    """Whatever is read as a replica also plays, and gives numbers."""
    replica = Replica.from_json(text, source=source)
    sound = 0.3 * np.sin(np.arange(2400) / 7)[:, None]
    assert all(np.all(np.isfinite(block)) for block in play(replica.chain, [sound], rate_hz=48_000))


TEXTS = {
    "recipe": (
        as_text(parse_recipe),
        [RECIPE],
        [*JSON_WORDS, *TOML_WORDS, b"[[segment]]", b"kind"],
        RecipeError,
    ),
    "cue sheet": (as_text(parse_cue_sheet), cue_starts(), JSON_WORDS, RecipeError),
    "session": (
        lambda data: parse_session(data.decode("utf-8", "surrogateescape"), path=Path("x.toml")),
        [SESSION, STARTER.encode()],
        [*JSON_WORDS, *TOML_WORDS, b"[[setting]]", b"[[claim]]", b"[device]"],
        SessionError,
    ),
    "profile": (as_text(Profile.from_json), profile_starts(), JSON_WORDS, ProfileError),
    "replica": (
        as_text(run_replica),
        replica_starts(),
        [*JSON_WORDS, b"1000", b"-1000", b"1e-300"],
        ReplicaError,
    ),
}


def rng_of(name):
    return np.random.default_rng([len(name), time.time_ns() if LONGER else 0])


@pytest.mark.parametrize("name", TEXTS)
def test_a_text_parses_or_gives_a_message(name, record_property):
    target, starts, words, allowed = TEXTS[name]
    target(starts[0])  # what is imported and built on first use is no part of the time
    found = fuzz_within_limits(
        target, starts=starts, words=words, allowed=allowed, seconds=SECONDS, rng=rng_of(name)
    )
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

    found = fuzz_within_limits(
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
        "volts": (load_volts, [VOLTS], [*JSON_WORDS, *TOML_WORDS, b"[[reading]]"], VoltsError),
        "blind key": (read_key, key_starts(), JSON_WORDS, BlindError),
        "blind result": (
            lambda file: score(file, key_path=key), result_starts(seal_of(key.read_bytes())), JSON_WORDS, BlindError
        ),
    }[name]  # fmt: skip

    def read(data):
        path.write_bytes(data)
        target(path)

    read(starts[0])
    found = fuzz_within_limits(
        read, starts=starts, words=words, allowed=allowed, seconds=SECONDS, rng=rng_of(name)
    )
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
    found = fuzz_within_limits(
        measure,
        starts=[bytes(8), bytes(range(24))],
        words=[bytes([op, 0, place, 0, 1, 0, 255, 127]) for op in range(6) for place in (0, 20, 60)],
        allowed=CharprobeError,
        seconds=5 * SECONDS,
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


def test_the_fuzzer_finds_memory_and_time_without_end(monkeypatch):
    monkeypatch.setattr(coverage_guided, "MOST_SECONDS", 0.5)
    for greedy, word in ((lambda _: bytearray(10**9), "MemoryError"), (lambda _: endless(), "TimeoutError")):
        with pytest.raises(AssertionError, match=word):
            fuzz_within_limits(
                greedy, starts=[b"x"], words=[b"y"], allowed=CharprobeError, seconds=0.1, rng=rng_of("x")
            )


def endless():
    while True:
        pass


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
