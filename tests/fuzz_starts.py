"""Good files of every kind to begin fuzzing with, and the words that matter to their formats."""

import io
import json

import numpy as np
import soundfile

from charprobe.files.sound.wav_header import wav_header
from charprobe.profile.entry import Entry, Health, Table
from charprobe.profile.facts import AlignmentFacts, CaptureFacts, MadeWith, StimulusFacts
from charprobe.profile.profile import Profile
from charprobe.replica.model import Posterior, Replica
from charprobe.replica.parts import Bend, Cell, Chain, Colour, Detector, Section, Smoothing
from charprobe.stimulus.cue_sheet import CueSheet, render_cue_sheet
from charprobe.stimulus.recipe import parse_recipe
from charprobe.stimulus.render import lay_out
from charprobe.values.quantity import Quantity, Unmeasured

JSON_WORDS = [b'"', b"{", b"}", b"[", b"]", b",", b":", b"null", b"true", b"-1", b"1e999", b"NaN", b"0.5", b"\\u0000",
              b"99999999999999999999", b"\xff", b'"schema"']  # fmt: skip
TOML_WORDS = [
    b"=",
    b"\n",
    b"[[",
    b'"""',
    b"'''",
    b"a." * 4000,
    b"[" * 4000,
    b"9" * 6000,
    b"{a=" * 2000,
    b"0x" + b"f" * 90,
]
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


def replica_starts():
    """A replica of every part, and one of none."""
    cell = Cell(
        Detector("mean", 2.0, 0.003, 0.003, low_cut_hz=80.0),
        (Bend(-24.0, 0.75, 4.0), Bend(-60.0, 1.0, side="below", most_db=10.0)),
        Smoothing(attack_s=0.004, release_s=0.1, release="side by side", slow_s=0.4, slow_share=0.3),
        link=0.5,
    )
    colour = Colour(amplitude=(0.5, 1.0), odd_db=(-1.0, -4.0), even_db=(0.1, 0.2))
    full = Chain((Section("low cut", 20.0),), cell, colour, (Section("bell", 900.0, q=2.0, gain_db=2.0),))
    return [
        Replica("charprobe-replica-1", "a", 1, 48_000, chain, Posterior(), -60.0, 0.0, -1.0, -100.0)
        .to_json()
        .encode()
        for chain in (full, Chain())
    ]
