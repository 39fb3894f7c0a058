"""Files whose outer form is right: rare forms of sound, headers in odd order, tables that say what cannot be."""

from __future__ import annotations

import json
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from charprobe.stimulus.cue_sheet import CueSheet, render_cue_sheet
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out
from tests.benchmarks.hostile_files import RATE_HZ, Hostile
from tests.fuzz_starts import SESSION, VOLTS, key_starts, profile_starts, replica_starts, result_starts

OPEN = 0xFFFFFFFF
PCM_GUID = b"\0\0\0\0\x10\0\x80\0\0\xaa\0\x38\x9b\x71"


def forms(folder: Path, take: np.ndarray) -> Iterator[Hostile]:
    """Write every file into a folder that holds `take.wav` and `take.flac`, and name the commands to run there."""
    body = (np.clip(take[:, 0], -1, 1) * 32767).astype("<i2").tobytes()
    for name, (what, content) in (
        _waves(body) | _aiffs(body) | _flacs((folder / "take.flac").read_bytes())
    ).items():
        (folder / name).write_bytes(content)
        yield Hostile(what, ("check", name))
        yield Hostile(f"{what}, measured", ("measure", name, "--out", f"{name}.json"))
    soundfile.write(folder / "take.caf", take, RATE_HZ, subtype="PCM_24")
    caf = (folder / "take.caf").read_bytes()
    for name, size in (("open", -1), ("minus", -5), ("wide", 1 << 62)):
        at = caf.index(b"data") + 4
        (folder / f"{name}.caf").write_bytes(caf[:at] + struct.pack(">q", size) + caf[at + 8 :])
        yield Hostile(f"CAF whose sound has the size {size}", ("check", f"{name}.caf"))
    for name, (what, text) in _recipes().items():
        (folder / f"{name}.toml").write_bytes(text)
        yield Hostile(f"recipe: {what}", ("stimulus", f"{name}.toml", "--out", f"{name}.wav"))
    for name, (what, text) in _sessions().items():
        (folder / f"{name}.toml").write_bytes(text)
        yield Hostile(f"session: {what}", ("session", f"{name}.toml", "--out", f"{name}-out"))
    for name, (what, text) in _volts().items():
        (folder / f"{name}.toml").write_bytes(text)
        yield Hostile(
            f"volts: {what}", ("measure", "take.wav", "--volts", f"{name}.toml", "--out", f"{name}.json")
        )
    yield from _tables(folder)


def _chunk(name: bytes, body: bytes, size: int | None = None, *, order: str = "<") -> bytes:
    return (
        name + struct.pack(f"{order}I", len(body) if size is None else size) + body + b"\0" * (len(body) % 2)
    )


def _wave(*chunks: bytes, form: bytes = b"RIFF", order: str = "<") -> bytes:
    body = b"WAVE" + b"".join(chunks)
    return form + struct.pack(f"{order}I", min(len(body), OPEN)) + body


def _format(*, bits: int = 16, tail: bytes = b"", code: int = 1, order: str = "<") -> bytes:
    align = bits // 8
    return _chunk(
        b"fmt ",
        struct.pack(f"{order}HHIIHH", code, 1, RATE_HZ, RATE_HZ * align, align, bits) + tail,
        order=order,
    )


def _waves(body: bytes) -> dict[str, tuple[str, bytes]]:
    data, plain = _chunk(b"data", body), _format()
    wide = np.frombuffer(body, "<i2").astype("<i4").astype("<i4") << 16
    turned = np.frombuffer(body, "<i2").astype(">i2").tobytes()
    ds64 = struct.pack("<QQQ", len(body) + 80, len(body), len(body) // 2)
    extensible = struct.pack("<HHI", 22, 20, 4) + b"\1\0" + PCM_GUID
    return {
        "table.wav": ("RF64 with a table of 2**32 entries", _wave(_chunk(b"ds64", ds64 + struct.pack("<I", OPEN)), plain, _chunk(b"data", body, OPEN), form=b"RF64")),
        "none64.wav": ("RF64 whose sound has the size 0", _wave(_chunk(b"ds64", bytes(28)), plain, _chunk(b"data", body, OPEN), form=b"RF64")),
        "late64.wav": ("RF64 whose sizes come last", _wave(plain, _chunk(b"data", body), _chunk(b"ds64", ds64 + bytes(4)), form=b"RF64")),
        "rifx.wav": ("RIFX, the other order of bytes", _wave(_format(order=">"), _chunk(b"data", turned, order=">"), form=b"RIFX", order=">")),
        "20of32.wav": ("20 of 32 bits, extensible", _wave(_format(bits=32, code=0xFFFE, tail=extensible), _chunk(b"data", wide.tobytes()))),
        "guid.wav": ("extensible of no known kind", _wave(_format(code=0xFFFE, tail=struct.pack("<HHI", 22, 16, 4) + b"\xaa" * 16), data)),
        "valid.wav": ("extensible, 99 of 16 bits valid", _wave(_format(code=0xFFFE, tail=struct.pack("<HHI", 22, 99, 4) + b"\1\0" + PCM_GUID), data)),
        "notes.wav": ("40 MB of notes before the sound", _wave(plain, _chunk(b"iXML", b"<a>" * 14_000_000), data)),
        "stream.wav": ("a stream of open length", _wave(plain, _chunk(b"data", body, OPEN))),
        "wide-fmt.wav": ("a format of 2 GB", _wave(_chunk(b"fmt ", plain[8:], 1 << 31), data)),
        "wavl.wav": ("a list of sound and silence", _wave(plain, _chunk(b"LIST", b"wavl" + _chunk(b"slnt", struct.pack("<I", OPEN)) + data))),
        "twelve.wav": ("12 bits in 16", _wave(_chunk(b"fmt ", struct.pack("<HHIIHH", 1, 1, RATE_HZ, 2 * RATE_HZ, 2, 12)), data)),
        "loops.wav": ("loops outside of the sound", _wave(plain, _chunk(b"smpl", struct.pack("<9I", *([OPEN] * 9)) + b"\xff" * 24), data)),
    }  # fmt: skip


def _aiffs(body: bytes) -> dict[str, tuple[str, bytes]]:
    frames, rate = len(body) // 2, struct.pack(">HQ", 0x400E, 48_000 << 48)
    turned = np.frombuffer(body, "<i2").astype(">i2").tobytes()
    comm = struct.pack(">hIh", 1, frames, 16) + rate

    def form(kind: bytes, *chunks: bytes) -> bytes:
        inner = kind + b"".join(chunks)
        return b"FORM" + struct.pack(">I", len(inner)) + inner

    def chunk(name: bytes, inner: bytes, size: int | None = None) -> bytes:
        return _chunk(name, inner, size, order=">")

    sound = chunk(b"SSND", bytes(8) + turned)
    return {
        "sowt.aifc": ("AIFC, the other order of bytes", form(b"AIFC", chunk(b"COMM", comm + b"sowt\0\0"), chunk(b"SSND", bytes(8) + body))),
        "unknown.aifc": ("AIFC of no known kind", form(b"AIFC", chunk(b"COMM", comm + b"zzzz\0\0"), sound)),
        "offset.aiff": ("AIFF whose sound begins 2 GB later", form(b"AIFF", chunk(b"COMM", comm), chunk(b"SSND", struct.pack(">II", 1 << 31, 7) + turned))),
        "no-comm.aiff": ("AIFF without a format", form(b"AIFF", sound)),
        "late-comm.aiff": ("AIFF whose format comes last", form(b"AIFF", sound, chunk(b"COMM", comm))),
        "two-comm.aiff": ("AIFF of two formats", form(b"AIFF", chunk(b"COMM", comm), chunk(b"COMM", struct.pack(">hIh", 8, 1, 8) + rate), sound)),
        "minus-rate.aiff": ("AIFF of a negative rate", form(b"AIFF", chunk(b"COMM", comm[:8] + b"\xc0" + rate[1:]), sound)),
        "comment.aiff": ("AIFF with 65 535 comments", form(b"AIFF", chunk(b"COMT", b"\xff\xff" + bytes(100)), chunk(b"COMM", comm), sound)),
    }  # fmt: skip


def _flacs(flac: bytes) -> dict[str, tuple[str, bytes]]:
    def bits(count: int) -> bytes:
        packed = int.from_bytes(flac[18:26], "big")
        packed = packed & ~(31 << 36) | (count - 1) << 36
        return flac[:18] + packed.to_bytes(8, "big") + flac[26:]

    block = b"\x01" + (0xFFFFFF).to_bytes(3, "big") + bytes(0xFFFFFF)  # padding, not the last block
    picture = b"\x06" + (40).to_bytes(3, "big") + struct.pack(">II", 3, 0x7FFFFFFF) + bytes(32)
    first = 4 + 4 + 34
    spoiled = bytearray(flac)
    spoiled[-900:-890] = b"\xff" * 10
    return {
        "padded.flac": ("FLAC with 48 MB of padding", flac[:4] + b"\0" + flac[5:first] + 3 * block + flac[first:]),
        "picture.flac": ("FLAC with a picture of 2 GB", flac[:4] + b"\0" + flac[5:first] + picture + flac[first:]),
        "turned.flac": ("FLAC of blocks from 65 535 to 16", flac[:8] + b"\xff\xff\0\x10" + flac[12:]),
        "id3.flac": ("FLAC behind an MP3 header", b"ID3\x04\0\0\0\0\x0f\x76" + bytes(2038) + flac),
        "4bit.flac": ("FLAC that says 4 bits", bits(4)),
        "32bit.flac": ("FLAC that says 32 bits", bits(32)),
        "sum.flac": ("FLAC whose last frame is spoiled", bytes(spoiled)),
        "md5.flac": ("FLAC with another checksum", flac[:26] + b"\x5a" * 16 + flac[42:]),
        "frames.flac": ("FLAC twice in one file", flac + flac),
        "blocks.flac": ("FLAC of 100 000 empty blocks", flac[:4] + b"\0" + flac[5:first] + b"\x02\0\0\0" * 100_000 + flac[first:]),
    }  # fmt: skip


def _recipes() -> dict[str, tuple[str, bytes]]:
    head = b'schema = "charprobe.recipe/1"\nname = "made"\nsummary = "made"\n'
    steps = b'[[segment]]\nkind = "level_steps"\nname = "%b"\nfrequency_hz = %b\nfrom_dbfs = %b\nto_dbfs = %b\nstep_db = %b\nstep_s = %b\n'
    usual = (b"s", b"997.0", b"-60.0", b"-10.0", b"10.0", b"0.2")

    def with_(at: int, value: bytes) -> bytes:
        return head + steps % tuple(value if n == at else each for n, each in enumerate(usual))

    tones = b'[[segment]]\nkind = "tones"\nname = "t"\nfrequencies_hz = [%b]\nlevels_dbfs = [-20.0]\ntone_s = 0.1\n'
    return {
        "r-date": ("a date as frequency", with_(1, b"2020-01-01")), "r-true": ("true as frequency", with_(1, b"true")),
        "r-sub": ("a frequency of 5e-324", with_(1, b"5e-324")), "r-high": ("a frequency of 1e300", with_(1, b"1e300")),
        "r-fine": ("steps of 1e-300 dB", with_(4, b"1e-300")), "r-back": ("steps of -10 dB", with_(4, b"-10.0")),
        "r-short": ("steps of 1e-12 s", with_(5, b"1e-12")), "r-loud": ("up to 1e308 dBFS", with_(3, b"1e308")),
        "r-low": ("from -1e308 dBFS", with_(2, b"-1e308")), "r-hex": ("a number in base 16", with_(1, b"0x" + b"f" * 300)),
        "r-name": ("a name with a line break", with_(0, b"a\\nb")), "r-bidi": ("a name that turns text round", with_(0, b"\\u202eabc")),
        "r-null": ("a name with a zero byte", with_(0, b"a\\u0000b")), "r-latin": ("another encoding", with_(0, b"caf\xe9")),
        "r-beyond": ("a character beyond Unicode", with_(0, b"\\U00110000")),
        "r-twice": ("a segment of one name twice", with_(0, b"s") + steps % usual),
        "r-table": ("a segment that is a table", head + b"[segment]\nkind = 1\n"),
        "r-tones": ("100 000 frequencies", head + tones % b", ".join(b"%d.0" % (100 + n % 9000) for n in range(100_000))),
        "r-empty": ("no frequency", head + tones % b""), "r-text": ("60 MB of text", head + b'a = """' + b"x" * 60_000_000 + b'"""'),
        "r-quiet": ("a peak of -1e308 dBFS", head + b"peak_dbfs = -1e308\n" + steps % usual),
    }  # fmt: skip


def _sessions() -> dict[str, tuple[str, bytes]]:
    text = SESSION.replace(b'"one.wav", "sub/two.wav"', b'"take.wav"').replace(
        b"channels = [1, 2]", b"channels = [1]"
    )
    text = text.replace(b'"three.wav"', b'"take.flac"').replace(b'bypass = "off.wav"\n', b"")
    return {
        "z-empty": ("no capture", text.replace(b'["take.wav"]', b"[]")),
        "z-star": ("a pattern as capture", text.replace(b'"take.wav"', b'"*.wav"')),
        "z-date": ("a date as title", text.replace(b'"small"', b"2020-01-01T00:00:00Z")),
        "z-true": ("true as channel", text.replace(b"[1]", b"[true]")),
        "z-half": ("channel 1.5", text.replace(b"[1]", b"[1.5]")),
        "z-self": ("a bypass that is the setting", text.replace(b'recipe = "quick"', b'recipe = "quick"\nbypass = "take.wav"')),
        "z-more": ("an unknown key", text + b"[extra]\na = 1\n"),
        "z-path": ("a folder's name as setting", text.replace(b'name = "one"', b'name = "a/b\\\\c:d"')),
        "z-case": ("settings that differ by case alone", text.replace(b'name = "two"', b'name = "ONE"').replace(b'"two"]', b'"ONE"]')),
        "z-dots": ("a setting called ..", text.replace(b'"one"', b'".."')),
        "z-con": ("a setting of blanks", text.replace(b'"one"', b'"   "')),
        "z-claims": ("20 000 claims", text + b'[[claim]]\nsays = "same"\nsettings = ["one", "two"]\nof = "attack.t63"\n' * 20_000),
    }  # fmt: skip


def _volts() -> dict[str, tuple[str, bytes]]:
    pair = b"[[reading]]\ndbfs = %b\nvolts = %b\n"
    return {
        "v-none": ("no reading", b""), "v-zero": ("0 V", pair % (b"-20.0", b"0.0")), "v-minus": ("-1 V", pair % (b"-20.0", b"-1.0")),
        "v-inf": ("infinite", pair % (b"-20.0", b"inf")), "v-nan": ("no number", pair % (b"nan", b"1.0")),
        "v-deny": ("readings that deny each other", pair % (b"-20.0", b"1.0") + pair % (b"-20.0", b"5.0")),
        "v-many": ("200 000 readings", (pair % (b"-20.0", b"1.0")) * 200_000),
    }  # fmt: skip


def _with(body: Any, path: tuple[Any, ...], value: Any) -> Any:
    copy = json.loads(json.dumps(body))
    inner = copy
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    return copy


def _tables(folder: Path) -> Iterator[Hostile]:
    """Profiles, replicas, cue sheets and blind packs of the right shape that say what cannot be."""
    profile, replica = json.loads(profile_starts()[0]), json.loads(replica_starts()[0])
    long = {
        "columns": {"input_dbfs": [-60.0] * 500_000, "settled": [True] * 500_000},
        "units": {"input_dbfs": "dBFS", "settled": ""},
    }
    profiles = {
        "columns of unlike length": _with(profile, ("curves", "static", "columns", "settled"), [True, False]),
        "500 000 rows": _with(profile, ("curves", "static"), long),
        "an interval turned round": _with(profile, ("quantities", "static.slope", "low"), 0.9),
        "a message of 20 MB": _with(profile, ("health", 0, "message"), "x" * 20_000_000),
        "a severity of its own": _with(profile, ("health", 0, "severity"), "panic"),
        "a quantity of no known name": _with(profile, ("quantities", "static.made_up"), profile["quantities"]["static.slope"]),
        "another schema": _with(profile, ("schema",), "charprobe.profile/99"),
        "a rate of 1e300 Hz": _with(profile, ("capture", "rate_hz"), 1e300),
        "control characters": _with(profile, ("setting",), "\x1b[2J\u202e\u0000"),
        "another unit": _with(profile, ("quantities", "static.slope", "unit"), "s"),
    }  # fmt: skip
    for number, (what, body) in enumerate(profiles.items()):
        (folder / f"k{number}.json").write_text(json.dumps(body), encoding="utf-8")
        yield Hostile(f"profile: {what}", ("show", f"k{number}.json"))
        yield Hostile(
            f"profile: {what}, compared", ("compare", f"k{number}.json", "p.json", "--out", f"k{number}-out")
        )
    colour = ("chain", "colour")
    replicas = {
        "levels out of order": _with(replica, (*colour, "amplitude"), [1.0, 0.5]),
        "levels of unlike length": _with(replica, (*colour, "odd_db"), [1.0]),
        "a release of 1e-300 s": _with(replica, ("chain", "cell", "smoothing", "release_s"), 1e-300),
        "a release of 1e300 s": _with(replica, ("chain", "cell", "smoothing", "release_s"), 1e300),
        "1000 bends": _with(replica, ("chain", "cell", "bends"), replica["chain"]["cell"]["bends"] * 500),
        "5000 filters": _with(replica, ("chain", "filter_out"), replica["chain"]["filter_out"] * 5000),
        "a rate of 1 Hz": _with(replica, ("rate_hz",), 1),
        "a rate of 10**9 Hz": _with(replica, ("rate_hz",), 10**9),
        "a highest level of 1e300 dBFS": _with(replica, ("highest_dbfs",), 1e300),
    }  # fmt: skip
    for number, (what, body) in enumerate(replicas.items()):
        (folder / f"q{number}.json").write_text(json.dumps(body), encoding="utf-8")
        yield Hostile(f"replica: {what}", ("predict", f"q{number}.json"))
        yield Hostile(
            f"replica: {what}, played", ("preview", f"q{number}.json", "take.wav", "--out", f"q{number}.wav")
        )
    stimulus = lay_out(load_recipe("quick"), rate_hz=RATE_HZ, take=1)
    sheet = json.loads(render_cue_sheet(CueSheet(stimulus, "pcm24", "0" * 64)))
    sheets = {
        "no segment": _with(sheet, ("segments",), []),
        "its segments turned round": _with(sheet, ("segments",), sheet["segments"][::-1]),
        "its segments twice": _with(sheet, ("segments",), sheet["segments"] * 2),
        "a rate of 44 100 Hz": _with(sheet, ("rate_hz",), 44_100),
        "another take": _with(sheet, ("take",), 9),
    }  # fmt: skip
    for number, (what, body) in enumerate(sheets.items()):
        (folder / f"w{number}.json").write_text(json.dumps(body), encoding="utf-8")
        yield Hostile(f"cue sheet: {what}", ("check", "take.wav", "--stimulus", f"w{number}.json"))
    (folder / "key.json").write_bytes(key_starts()[0])
    for number, (what, seal) in enumerate(
        {"a seal that is no digest": "x", "a seal of 5 MB": "0" * 5_000_000}.items()
    ):
        (folder / f"result{number}.json").write_bytes(result_starts(seal)[0])
        yield Hostile(
            f"blind result: {what}", ("blind", "score", f"result{number}.json", "--key", "key.json")
        )
    (folder / "volts.csv").write_bytes(VOLTS)
    yield Hostile(
        "volts under another name", ("measure", "take.wav", "--volts", "volts.csv", "--out", "vc.json")
    )
