"""Good files of every kind with one lie in them, odd names, and outputs that would replace an input."""

from __future__ import annotations

import json
import os
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
from tests.fuzz_starts import SESSION, VOLTS, profile_starts, replica_starts

BAD = (-1, 0, 1e308, 10**30, "x", None, [], {}, True, "../../x", "<script>", 3.5)
MOST = 36  # lies in one kind of file


def lies(folder: Path, take: np.ndarray) -> Iterator[Hostile]:
    """Write every file into a folder that holds `take.wav`, and name the commands to run there."""
    sheet = CueSheet(lay_out(load_recipe("quick"), rate_hz=RATE_HZ, take=1), "pcm24", "0" * 64)
    texts = {
        "cue sheet": (render_cue_sheet(sheet), ("check", "take.wav", "--stimulus", "{}")),
        "replica": (replica_starts()[0].decode(), ("predict", "{}")),
        "profile": (profile_starts()[0].decode(), ("show", "{}", "--figures", "drawn")),
    }
    for kind, (text, command) in texts.items():
        for number, (what, body) in enumerate(_lied(json.loads(text))):
            name = f"{kind[:3]}{number}.json"
            (folder / name).write_text(json.dumps(body), encoding="utf-8")
            yield Hostile(f"{kind}: {what}", tuple(name if part == "{}" else part for part in command))
    yield from _sessions(folder)
    yield from _headers(folder, take)
    yield from _bypasses(folder, take)
    yield from _settings(folder, take)
    yield from _names(folder)
    yield from _outputs(folder)


def _lied(body: Any) -> Iterator[tuple[str, Any]]:
    """Copies of a body with one value of it replaced, evenly spread over all values and all lies."""
    places = list(_places(body, ()))
    for number in range(MOST):
        place = places[number * len(places) // MOST]
        value = BAD[number % len(BAD)]
        copy = json.loads(json.dumps(body))
        inner = copy
        for step in place[:-1]:
            inner = inner[step]
        inner[place[-1]] = value
        yield f"{'.'.join(map(str, place))} is {value!r}", copy


def _places(body: Any, above: tuple[Any, ...]) -> Iterator[tuple[Any, ...]]:
    for key, value in body.items() if isinstance(body, dict) else enumerate(body):
        yield (*above, key)
        if isinstance(value, (dict, list)):
            yield from _places(value, (*above, key))


def _sessions(folder: Path) -> Iterator[Hostile]:
    text = SESSION.decode().replace('"one.wav"', '"take.wav"')
    for number, (old, new) in enumerate((
        ("channels = [1, 2]", "channels = [0, -5]"), ("channels = [1, 2]", "channels = [999999999999]"),
        ('name = "one"', 'name = "../../one"'), ('name = "one"', f'name = "{"n" * 20_000}"'), ('name = "two"', 'name = "one"'),
        ('title = "small"', 'title = "<script>alert(1)</script>"'), ('recipe = "quick"', 'recipe = "/dev/zero"'),
        ('bypass = "off.wav"', 'bypass = "take.wav"'), ('"three.wav"', ", ".join(f'"{n}.wav"' for n in range(20_000))),
        ('of = "attack.t63"', 'of = "../../x"'), ('settings = ["one", "two"]', "settings = []"), ('name = "made up"', 'name = "\\u0000\\u001b[2J"'),
    )):  # fmt: skip
        (folder / f"lie{number}.toml").write_text(text.replace(old, new), encoding="utf-8")
        yield Hostile(f"session: {new[:40]}", ("session", f"lie{number}.toml", "--out", f"lied{number}"))
    (folder / "volts.toml").write_bytes(VOLTS.replace(b"0.775", b"1e308"))
    yield Hostile("volts of 1e308", ("measure", "take.wav", "--volts", "volts.toml", "--out", "v.json"))


def _headers(folder: Path, take: np.ndarray) -> Iterator[Hostile]:
    """AIFF, FLAC, AU and CAF whose headers lie, and samples that are no numbers in places."""
    flac = (folder / "take.flac").read_bytes()
    for what, rate in (("1 Hz", 1), ("655 350 Hz", 655_350), ("0 Hz", 0)):
        packed = (rate << 12) | (int.from_bytes(flac[18:22], "big") & 0xFFF)
        (folder / f"f{rate}.flac").write_bytes(flac[:18] + packed.to_bytes(4, "big") + flac[22:])
        yield Hostile(f"FLAC of {what}", ("check", f"f{rate}.flac"))
    aiff = (folder / "take.aiff").read_bytes()
    comm = aiff.index(b"COMM") + 8
    for what, at, lie in (
        ("65 535 channels", 0, b"\xff\xff"), ("no channel", 0, b"\0\0"), ("2**32 frames", 2, b"\xff" * 4), ("255 bits", 6, b"\0\xff"),
        ("a rate that is no number", 8, b"\x7f\xff" + b"\xff" * 8), ("a rate of 1e4900 Hz", 8, b"\x7f\xfe" + b"\xff" * 8),
        ("a rate of 0 Hz", 8, bytes(10)),
    ):  # fmt: skip
        name = f"a{what.replace(' ', '-')}.aiff"
        (folder / name).write_bytes(aiff[: comm + at] + lie + aiff[comm + at + len(lie) :])
        yield Hostile(f"AIFF of {what}", ("check", name))
    au = struct.pack(">4sIIIII", b".snd", 0x7FFFFFFF, 0xFFFFFFFF, 3, RATE_HZ, 1)
    caf = b"caff\0\1\0\0desc" + struct.pack(">qd4sIIIII", 32, 48e3, b"lpcm", 0, 2**31, 2**31, 65_535, 24)
    for name, body in (("x.au", au), ("x.caf", caf), ("x.w64", b"riff" + bytes(12) + b"\xff" * 64)):
        (folder / name).write_bytes(body + bytes(100_000))
        yield Hostile(f"{name[2:].upper()} that lies", ("check", name))
    for what, places, value in (
        ("NaN here and there", slice(None, None, 4801), np.nan), ("infinite for a second", slice(600_000, 648_000), np.inf),
        ("constant 1", slice(None), 1.0), ("NaN but for the start", slice(200_000, None), np.nan),
    ):  # fmt: skip
        spoiled = take[:, 0].copy()
        spoiled[places] = value
        name = f"{what.replace(' ', '-')}.wav"
        soundfile.write(folder / name, spoiled, RATE_HZ, subtype="FLOAT")
        yield Hostile(what, ("measure", name, "--out", f"{name}.json"))
    soundfile.write(folder / "one.wav", take[:1], RATE_HZ)
    yield Hostile("one sample", ("measure", "one.wav", "--out", "one.json"))


def _bypasses(folder: Path, take: np.ndarray) -> Iterator[Hostile]:
    """A good take beside a bypass that is none."""
    line = take[:, 0]
    quiet = line.copy()
    quiet[: RATE_HZ // 2] = 0.25
    bypasses = {
        "nothing but zeros": 0 * line, "no sample": line[:0], "one sample": line[:1], "backwards": line[::-1],
        "twice in a row": np.tile(line, 2), "cut within its opening marker": line[RATE_HZ // 2 + 9000 :],
        "only its first second": line[:RATE_HZ], "values of 3e37": 3e37 * line, "values of 1e-30": 1e-30 * line,
        "NaN ahead of the sound": np.where(np.arange(line.size) < 9000, np.nan, line),
        "infinite behind the sound": np.where(np.arange(line.size) > line.size - 9000, np.inf, line),
        "one value ahead of the sound": quiet, "its own cube": 1.3 * line - 0.2 * line**3, "rectified": np.abs(line),
        "the same take later": np.pad(line, (RATE_HZ, 0)), "only every other sample": line[::2],
    }  # fmt: skip
    for number, (what, samples) in enumerate(bypasses.items()):
        soundfile.write(folder / f"off{number}.wav", samples, RATE_HZ, subtype="FLOAT")
        yield Hostile(
            f"a bypass: {what}",
            ("measure", "take.wav", "--bypass", f"off{number}.wav", "--out", f"off{number}.json"),
        )


def _settings(folder: Path, take: np.ndarray) -> Iterator[Hostile]:
    """A setting that is none beside a good bypass: measured, and both judged."""
    line, rng = take[:, 0], np.random.default_rng(11)
    count, alone = line.size, np.zeros(line.size)
    alone[count // 2] = 1
    settings = {
        "one sample of 1e30": line + 1e30 * alone, "every other sample turned": line * (-1.0) ** np.arange(count),
        "smaller than any number": 1e-40 * line, "an offset of a million": line + 1e6, "its sign alone": np.sign(line),
        "each sample in disorder": rng.permutation(line), "twice, half a second apart": line + np.roll(line, RATE_HZ // 2),
        "stretched to twice its length": np.repeat(line, 2), "its markers alone": np.where(np.abs(np.arange(count) / count - 0.5) > 0.45, line, 0),
        "silence with NaN every second": np.where(np.arange(count) % RATE_HZ, line, np.nan), "its size alone": np.hypot(line, 1e-3),
        "its blocks of 64 turned round": line[: count // 64 * 64].reshape(-1, 64)[:, ::-1].ravel(), "another take on top": line + line[::-1],
    }  # fmt: skip
    for number, (what, samples) in enumerate(settings.items()):
        name = f"on{number}.wav"
        soundfile.write(folder / name, samples, RATE_HZ, subtype="FLOAT")
        measured = ("measure", name, "--bypass", "take.wav", "--out", f"on{number}.json")
        for command in (("check", name, "--bypass", "take.wav"), measured):
            yield Hostile(f"a setting: {what}", command)


def _names(folder: Path) -> Iterator[Hostile]:
    take = (folder / "take.wav").read_bytes()
    for name in (os.fsdecode(b"caf\xe9.wav"), "<img src=x onerror=alert(1)>.wav", "a'\"$(x);.wav", "\u202egnp.wav", "line\nbreak.wav", "n" * 250 + ".wav"):  # fmt: skip
        (folder / name).write_bytes(take)
        yield Hostile(f"a take called {name[:30]!a}", ("check", "--", name))
        out = "named.json" if len(name) > 100 else name.replace(".wav", ".json")
        yield Hostile(f"a profile called {out[:30]!a}", ("measure", "--out", out, "--", name))
    (folder / "locked.wav").write_bytes(take)
    (folder / "locked.wav").chmod(0)
    yield Hostile("no leave to read", ("check", "locked.wav"))


def _outputs(folder: Path) -> Iterator[Hostile]:
    """What is written lies over an input, whatever its path looks like, or where nothing can be written."""
    os.link(folder / "take.wav", folder / "hard.wav")
    (folder / "soft.wav").symlink_to("take.wav")
    (folder / "sub").mkdir()
    (folder / "r.json").write_bytes(replica_starts()[0])
    (folder / "p.json").write_bytes(profile_starts()[0])
    (folder / "good.toml").write_bytes(VOLTS)
    kept = ("take.wav", "r.json", "p.json", "good.toml")
    for out in (
        "take.wav",
        "hard.wav",
        "soft.wav",
        "./sub/../take.wav",
        str(folder / "take.wav"),
        "good.toml",
    ):
        for command in (
            ("measure", "take.wav", "--volts", "good.toml", "--out", out), ("simulate", "plain-wire", "take.wav", "--out", out),
            ("preview", "r.json", "take.wav", "--out", out), ("unprint", "r.json", "take.wav", "--out", out),
            ("fit", "take.wav", "--bypass", "take.wav", "--out", out), ("check", "take.wav", "--repair", out),
        ):  # fmt: skip
            if out == "good.toml" and command[0] != "measure":
                continue
            force = () if command[0] == "check" else ("--force",)
            yield Hostile(f"{command[0]} over an input: {out[-20:]}", (*command, *force), kept)
    for command in (
        ("session", "take.wav", "--new", "--force"), ("preview", "r.json", "take.wav", "--out", "r.json", "--force"),
        ("compare", "p.json", "p.json", "--out", ".", "--force"), ("ab", "take.wav", "one.wav", "--out", ".", "--force"),
        ("show", "p.json", "--figures", "p.json"), ("ab", "take.wav", "one.wav", "--out", "take.wav", "--force"),
    ):  # fmt: skip
        yield Hostile(f"{command[0]} where inputs lie", command, kept)
    for out in ("sub", "fifo.wav", "/dev/full", "gone/x.json", "/proc/x.json", "round.wav", "x" * 5000, "a\n.json", "take.wav/x.json"):  # fmt: skip
        yield Hostile(f"a profile into {out[:20]!r}", ("measure", "take.wav", "--out", out, "--force"), kept)
