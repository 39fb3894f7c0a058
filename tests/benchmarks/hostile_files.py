"""Files that nobody vouches for, of the kinds a bench's folder may hold: made in a folder, each with its command.

Sound whose header lies or asks for too much, text that is deep, huge or no text, sessions whose paths lead elsewhere, and
things in a folder that are no files.
"""

from __future__ import annotations

import json
import os
import socket
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render

RATE_HZ = 48_000
OPEN = 0xFFFFFFFF


@dataclass(frozen=True)
class Hostile:
    """What is wrong, and the command that is given it; paths are relative to the folder; files it must keep."""

    what: str
    command: tuple[str, ...]
    kept: tuple[str, ...] = ()


def a_take() -> np.ndarray:
    """A good capture of the recipe `quick`, shape (n, 1)."""
    played = render(lay_out(load_recipe("quick"), rate_hz=RATE_HZ, take=1))
    rig = Rig(delay_samples=37.4, noise_dbfs=-100.0)
    return rig.record(0.7 * played, rate_hz=RATE_HZ, rng=np.random.default_rng(1))


def make(folder: Path, take: np.ndarray) -> Iterator[Hostile]:
    """Write every file into a folder and name the commands to run there."""
    soundfile.write(folder / "take.wav", take, RATE_HZ, subtype="PCM_24")
    soundfile.write(folder / "take.flac", take, RATE_HZ, subtype="PCM_24")
    yield Hostile("a capture in order", ("check", "take.wav"))
    for name, (what, content) in _sounds((folder / "take.wav").read_bytes(), take).items():
        (folder / name).write_bytes(content)
        yield Hostile(what, ("check", name))
    yield from _other_sounds(folder, take)
    yield from _no_files(folder)
    yield from _texts(folder)
    yield from _sessions(folder)


def _chunk(name: bytes, body: bytes, size: int | None = None) -> bytes:
    return name + struct.pack("<I", len(body) if size is None else size) + body + b"\0" * (len(body) % 2)


def _wav(*chunks: bytes, form: bytes = b"RIFF", size: int | None = None) -> bytes:
    body = b"WAVE" + b"".join(chunks)
    return form + struct.pack("<I", min(len(body), OPEN) if size is None else size) + body


def _fmt(
    code: int = 1, channels: int = 1, rate_hz: int = RATE_HZ, bits: int = 16, align: int | None = None
) -> bytes:
    align = channels * bits // 8 if align is None else align
    return _chunk(
        b"fmt ", struct.pack("<HHIIHH", code, channels, rate_hz, rate_hz * align & OPEN, align & 0xFFFF, bits)
    )


def _sounds(plain: bytes, take: np.ndarray) -> dict[str, tuple[str, bytes]]:
    """Name -> what is wrong with it, and its bytes."""
    body = (np.clip(take[:, 0], -1, 1) * 32767).astype("<i2").tobytes()
    double = take[:, 0].astype("<f8").tobytes()
    data, fmt = _chunk(b"data", body), _fmt()
    ds64 = struct.pack("<QQQI", len(body) + 80, len(body), len(body) // 2, 0)
    lies = struct.pack("<QQQI", 1 << 62, 1 << 62, 1 << 62, 0)
    wide = {f"{n}ch.wav": (f"{n} channels", _wav(_fmt(channels=n), data)) for n in (0, 512, 65_535)}
    rates = {
        f"{n}hz.wav": (f"a rate of {n} Hz", _wav(_fmt(rate_hz=n), data)) for n in (0, 1, 10_000_000, OPEN)
    }
    words = {f"{n}bit.wav": (f"{n} bits", _wav(_fmt(bits=n, align=2), data)) for n in (0, 13, 255)}
    codes = {
        f"code{n}.wav": (what, _wav(_fmt(code=n, bits=8), data))
        for n, what in (
            (6, "A-law"),
            (7, "mu-law"),
            (2, "ADPCM"),
            (0x55, "MP3 in WAV"),
            (0xFFFE, "extensible, cut short"),
        )
    }
    return wide | rates | words | codes | {
        "rf64.wav": ("RF64", _wav(_chunk(b"ds64", ds64), fmt, _chunk(b"data", body, OPEN), form=b"RF64", size=OPEN)),
        "bw64.wav": ("BW64 whose sizes are 2**62", _wav(_chunk(b"ds64", lies), fmt, _chunk(b"data", body, OPEN), form=b"BW64", size=OPEN)),
        "no-ds64.wav": ("RF64 without its sizes", _wav(fmt, _chunk(b"data", body, OPEN), form=b"RF64", size=OPEN)),
        "odd-chunk.wav": ("a chunk of odd length without its pad", _wav(fmt, b"LIST" + struct.pack("<I", 7) + b"INFOabc", data)),
        "long-chunk.wav": ("a chunk longer than the file", _wav(fmt, _chunk(b"LIST", b"INFO", OPEN - 8), data)),
        "many-chunks.wav": ("200 000 empty chunks", _wav(fmt, b"junk\0\0\0\0" * 200_000, data)),
        "zero-data.wav": ("data size 0 before sound", _wav(fmt, _chunk(b"data", body, 0))),
        "odd-data.wav": ("data of an odd length", _wav(fmt, _chunk(b"data", body[:-1]))),
        "long-data.wav": ("data longer than the file", _wav(fmt, _chunk(b"data", body, len(body) * 5))),
        "two-data.wav": ("two data chunks", _wav(fmt, data, data)),
        "late-fmt.wav": ("format behind the sound", _wav(data, fmt)),
        "no-fmt.wav": ("no format", _wav(data)),
        "two-fmt.wav": ("two formats", _wav(fmt, _fmt(channels=2, rate_hz=1), data)),
        "align.wav": ("frames of 0 bytes", _wav(_fmt(align=0), data)),
        "wide-align.wav": ("frames of 65535 bytes", _wav(_fmt(align=65_535), data)),
        "double.wav": ("64-bit float", _wav(_fmt(code=3, bits=64), _chunk(b"data", double))),
        "nan.wav": ("nothing but NaN", _wav(_fmt(code=3, bits=32), _chunk(b"data", np.full(take.size, np.nan, "<f4").tobytes()))),
        "huge-values.wav": ("values of 3e38", _wav(_fmt(code=3, bits=32), _chunk(b"data", np.full(take.size, 3e38, "<f4").tobytes()))),
        "denormal.wav": ("values of 1e-40", _wav(_fmt(code=3, bits=32), _chunk(b"data", np.full(take.size, 1e-40, "<f4").tobytes()))),
        "header-only.wav": ("a header alone", plain[:44]),
        "cut-header.wav": ("half a header", plain[:17]),
        "empty.wav": ("an empty file", b""),
        "text.wav": ("text", b"hello\n" * 1000),
        "random.wav": ("random bytes", np.random.default_rng(2).bytes(1 << 20)),
        "id3.wav": ("an MP3 header", b"ID3\x04\0\0\0\0\x0f\x76" + b"\xff\xfb\x90\x64" * 5000),
    }  # fmt: skip


def _other_sounds(folder: Path, take: np.ndarray) -> Iterator[Hostile]:
    flac = bytearray((folder / "take.flac").read_bytes())
    (folder / "cut.flac").write_bytes(flac[: len(flac) // 3])
    yield Hostile("FLAC cut short", ("check", "cut.flac"))
    flac[21], flac[22:26] = flac[21] | 0x0F, b"\xff\xff\xff\xff"
    (folder / "long.flac").write_bytes(flac)
    yield Hostile("FLAC that promises 2**36 samples", ("check", "long.flac"))
    broken = bytearray((folder / "take.flac").read_bytes())
    broken[len(broken) // 2 : len(broken) // 2 + 4000] = bytes(4000)
    (folder / "broken.flac").write_bytes(broken)
    yield Hostile("FLAC with a hole", ("check", "broken.flac"))
    soundfile.write(folder / "take.aiff", take, RATE_HZ, subtype="PCM_24")
    yield Hostile("AIFF", ("check", "take.aiff"))
    soundfile.write(folder / "take.ogg", take, RATE_HZ)
    yield Hostile("a coder's file", ("check", "take.ogg"))
    with (folder / "sparse.wav").open("wb") as file:
        file.write(_wav(_fmt(), _chunk(b"data", b"", 2_000_000_000), size=2_000_000_036))
        file.truncate(2_000_000_044)
    yield Hostile("2 GB of zeros", ("check", "sparse.wav"))
    for name in ("take\nof\x1b[31m.wav", "-rf.wav", "ü" * 100 + ".wav"):
        (folder / name).write_bytes(b"RIFF")
        yield Hostile(f"a file called {name[:12]!r}", ("check", "--", name))


def _no_files(folder: Path) -> Iterator[Hostile]:
    os.mkfifo(folder / "fifo.wav")
    (folder / "folder.wav").mkdir()
    (folder / "nowhere.wav").symlink_to("gone.wav")
    (folder / "round.wav").symlink_to("round.wav")
    (folder / "zero.wav").symlink_to("/dev/zero")
    with socket.socket(socket.AF_UNIX) as made:
        made.bind(str(folder / "socket.wav"))
    for what, name in (
        ("a FIFO", "fifo.wav"), ("a folder", "folder.wav"), ("a link to nothing", "nowhere.wav"),
        ("a link to itself", "round.wav"), ("a link to /dev/zero", "zero.wav"), ("a socket", "socket.wav"),
        ("/dev/zero", "/dev/zero"), ("/dev/null", "/dev/null"),
    ):  # fmt: skip
        yield Hostile(f"{what} as capture", ("check", name))
        yield Hostile(f"{what} as cue sheet", ("check", "take.wav", "--stimulus", name))
    for what, name in (("a FIFO", "fifo.wav"), ("/dev/zero", "/dev/zero"), ("a folder", "folder.wav")):
        yield Hostile(f"{what} as profile", ("show", name))
        yield Hostile(f"{what} as recipe", ("stimulus", name, "--out", "x.wav"))
        yield Hostile(f"{what} as session", ("session", name, "--out", "out"))
        yield Hostile(f"{what} as replica", ("preview", name, "take.wav", "--out", "x.wav"))


def _texts(folder: Path) -> Iterator[Hostile]:
    deep, long = "[" * 200_000, "9" * 200_000
    texts = {
        "deep": ("200 000 brackets", deep.encode()), "deep-keys": ("keys 100 000 deep", ('{"a":' * 100_000).encode()),
        "digits": ("a number of 200 000 digits", b'{"schema": ' + long.encode() + b"}"),
        "infinite": ("1e999", b'{"schema": 1e999}'), "nan": ("NaN", b'{"schema": NaN}'),
        "twice": ("a key twice", b'{"schema": 1, "schema": 2}'), "bom": ("a byte order mark", b'\xef\xbb\xbf{"schema": 1}'),
        "utf16": ("UTF-16", '{"schema": 1}'.encode("utf-16")), "surrogate": ("half a surrogate", b'{"schema": "\\ud800"}'),
        "nul": ("zero bytes", b"\0" * 5000), "list": ("a list", b"[]"), "empty": ("nothing", b""),
        "wide": ("60 MB of spaces", b" " * 60_000_000), "esc": ("control characters", b'{"schema": "\\u001b[2J\\u0007"}'),
        "open": ("10 MB of quotes that nothing closes", b'{"schema": "' + b'\\"' * 5_000_000),
        "keys": ("300 000 keys", json.dumps({str(n): n for n in range(300_000)}).encode()),
    }  # fmt: skip
    for name, (what, content) in texts.items():
        (folder / f"{name}.json").write_bytes(content)
        yield Hostile(f"profile: {what}", ("show", f"{name}.json"))
        yield Hostile(f"cue sheet: {what}", ("check", "take.wav", "--stimulus", f"{name}.json"))
        yield Hostile(f"replica: {what}", ("predict", f"{name}.json"))
    silence = '[[segment]]\nkind = "silence"\nname = "a{}"\nlength_s = {}\n'
    head = 'schema = "charprobe.recipe/1"\nname = "made"\nsummary = "made"\n'
    tomls = {
        "endless": ("1e9 s of silence", head + silence.format(1, 1e9)), "minus": ("-1 s", head + silence.format(1, -1)),
        "no-number": ("nan s", head + silence.format(1, "nan")), "infinite": ("inf s", head + silence.format(1, "inf")),
        "segments": ("20 000 segments", head + "".join(silence.format(n, 0.1) for n in range(20_000))),
        "dots": ("a key of 30 000 parts", head + ".".join(["a"] * 30_000) + " = 1\n"),
        "arrays": ("100 000 brackets", head + "a = " + "[" * 100_000),
        "name": ("a path as name", head.replace('"made"', '"../../x"', 1) + silence.format(1, 1)),
        "number": ("a number of 200 000 digits", head + f"a = {long}\n"),
        "steps": ("10**9 steps", head + '[[segment]]\nkind = "level_steps"\nname = "s"\nfrom_dbfs = -60.0\nto_dbfs = 0.0\n'
                  "step_db = 1e-7\nstep_s = 0.1\nfrequency_hz = 997.0\n"),
    }  # fmt: skip
    for name, (what, text) in tomls.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
        yield Hostile(f"recipe: {what}", ("stimulus", f"{name}.toml", "--out", f"{name}.wav"))
    yield Hostile("a rate of 1e12 Hz", ("stimulus", "quick", "--rate", "1000000000000", "--out", "r.wav"))


def _sessions(folder: Path) -> Iterator[Hostile]:
    (folder / "link.wav").symlink_to("/etc/passwd")
    text = (
        'schema = "charprobe.session/1"\ntitle = "made"\nrecipe = "quick"\n[device]\nname = "box"\n'
        '[[setting]]\nname = "one"\ncaptures = ["{}"]\n'
    )
    for number, (what, path) in enumerate(
        (
            ("../ to a file outside", "../../../../etc/passwd"), ("an absolute path", "/etc/passwd"),
            ("a link outside", "link.wav"), ("another case", "TAKE.WAV"), ("/dev/zero", "/dev/zero"), ("a FIFO", "fifo.wav"),
            ("a folder", "folder.wav"), ("a zero byte", "a\\u0000b.wav"), ("4000 characters", "a" * 4000), ("itself", "s8.toml"),
        )
    ):  # fmt: skip
        (folder / f"s{number}.toml").write_text(text.format(path), encoding="utf-8")
        yield Hostile(f"session: {what}", ("session", f"s{number}.toml", "--out", f"out{number}"))
    (folder / "many.toml").write_text(
        text.format("take.wav")
        + "".join(f'[[setting]]\nname = "n{n}"\ncaptures = ["gone{n}.wav"]\n' for n in range(5000)),
        encoding="utf-8",
    )
    yield Hostile("session: 5000 settings", ("session", "many.toml", "--plan"))
