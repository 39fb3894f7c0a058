"""Blind listening packs: sounds that nothing tells apart but listening, with the answers sealed elsewhere."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from annotated_types import MaxLen

from charprobe.files.checked_model import checked
from charprobe.files.output import check_space, check_writable, write_bytes, write_text
from charprobe.files.sound.sound_file import open_capture
from charprobe.files.sound.source import MemoryCapture, Source
from charprobe.files.untrusted import FileKind, json_content, read_text
from charprobe.listening.blind.key import BlindError, Key, Side, Sound, Trial, seal_of
from charprobe.listening.blind.score import power_text
from charprobe.listening.match import write_pcm24
from charprobe.values.arrays import Array
from charprobe.values.fade import faded_ends

PACK_SCHEMA = "charprobe.blind-pack/1"
PAGE, LIST = "listen.html", "files.json"
LIST_FILE = FileKind(
    called="list of the files of a blind pack",
    error=BlindError,
    most_bytes=100_000,
    most_depth=3,
    remedy="choose another name for the pack",
    schema="charprobe.blind-files/1",
)
LEVEL = 0.05
SAME_TIME = 946_684_800  # every file of a pack carries this modification time
MIN_TRIALS, MAX_TRIALS = 5, 100  # below five, not even all hits reach the level
_FADE_S = 0.01
_STEP = 2.0**-23


@dataclass(frozen=True)
class MadePack:
    """A pack on disk: the folder to hand out, the key to keep, and the seal that binds them."""

    folder: Path
    key_path: Path
    seal: str
    key: Key


@dataclass(frozen=True)
class ListForm:
    """What a pack holds beside this list: all that replacing the pack may take away."""

    schema: Literal["charprobe.blind-files/1"]
    files: Annotated[tuple[str, ...], MaxLen(1000)]


def make_pack(
    pair: Path,
    out: Path,
    *,
    key_path: Path,
    trials: int,
    controls: int,
    start_s: float | None,
    length_s: float,
    rng: np.random.Generator,
    force: bool,
) -> MadePack:
    """Make a blind pack in the folder `out` from a pair that ``charprobe ab`` wrote; hand out nothing else.

    The key is written outside of it. `trials` count, 5 to 100, fixed here and never by the listener; in
    `controls` mixed in left and right are the same sound. The excerpt starts at `start_s`, None takes the
    loudest stretch, and lasts 1 s or more. `rng` draws everything hidden: seed it from the system for a real
    test. `BlindError` if the pair does not fit, the excerpt lies outside it, or the key inside the pack;
    `OutputError` if something exists and `force` is False, or cannot be written.

    Notes
    -----
    Left and right are two references, the middle is one of them again. Every trial has three files of its
    own, each with dither of its own: no two files of a pack are equal, whatever they hold, and neither names
    nor the page show which trials are controls. The page knows no answers. Who compares waveforms can of
    course tell them; the pack keeps honest listeners from accidents.
    """
    if not MIN_TRIALS <= trials <= MAX_TRIALS or controls < 0:
        raise ValueError(f"needs {MIN_TRIALS} to {MAX_TRIALS} trials, got {trials} and {controls} controls")
    if out.resolve() in key_path.resolve().parents:
        raise BlindError(f"{key_path}: lies inside the pack and would give it away: choose another place")
    _check_folder(out, force=force)
    check_writable(key_path, force=force)
    files = {name: pair / f"{name}.wav" for name in ("dry", "processed")}
    if not all(path.is_file() for path in files.values()):
        raise BlindError(
            f"{pair}: has no dry.wav and processed.wav: name the folder that `charprobe ab` wrote"
        )
    sounds = {name: open_capture(path) for name, path in files.items()}
    excerpt, first_s = _excerpts(sounds, start_s=start_s, length_s=length_s)
    rate_hz = sounds["dry"].rate_hz
    check_space(out.parent, needed_bytes=3 * (trials + controls) * 3 * excerpt["dry"].size)
    drawn = _draw(trials, controls, rng)
    names = _names(3 * len(drawn), rng)
    placed, held = _place(drawn, names)
    key = Key(
        pack=rng.bytes(4).hex(),
        nonce=rng.bytes(32).hex(),
        trials=tuple(drawn),
        sounds=dict(held),
        sources={name: source.sha256() for name, source in sounds.items()},
        start_s=first_s,
        length_s=length_s,
        level=LEVEL,
    )
    seal = seal_of(key.as_bytes())
    with tempfile.TemporaryDirectory(dir=out.parent, prefix=".charprobe-") as scratch:
        folder = Path(scratch) / "pack"
        (folder / "sounds").mkdir(parents=True)
        for name in sorted(held):
            source = MemoryCapture(excerpt[held[name]], rate_hz=rate_hz, name=name)
            write_pcm24(folder / "sounds" / name, source, factor=1.0, rng=rng)
        _write_page(folder, key, seal, placed)
        listed = {"schema": LIST_FILE.schema, "files": [PAGE, *(f"sounds/{name}" for name in sorted(held))]}
        write_text(folder / LIST, json.dumps(listed, indent=1) + "\n", force=False)
        for path in (*folder.rglob("*"), folder):
            os.utime(path, (SAME_TIME, SAME_TIME))
        _hand_out(folder, out, key, key_path, force=force)
    return MadePack(out, key_path, seal, key)


def _hand_out(folder: Path, out: Path, key: Key, key_path: Path, *, force: bool) -> None:
    """Put a finished pack in its place, and its key: both, or everything as it was."""
    earlier = folder.with_name("earlier")
    if out.exists():
        out.rename(earlier)
    try:
        folder.rename(out)
        write_bytes(key_path, key.as_bytes(), force=force)
    except BaseException:
        if out.exists():
            out.rename(folder)
        if earlier.exists():
            earlier.rename(out)
        raise


def _check_folder(out: Path, *, force: bool) -> None:
    """Refuse a folder that exists, unless it is an earlier pack and may be replaced."""
    if not out.exists():
        check_writable(out, force=False)
        return
    if not force:
        raise BlindError(f"{out}: already exists; kept as it is. Choose another name or add --force")
    if out.is_symlink() or not (out / LIST).is_file() or not (out / "sounds").is_dir():
        raise BlindError(
            f"{out}: is no earlier blind pack and is not replaced: choose another name. Kept as it is"
        )
    text = read_text(out / LIST, LIST_FILE)
    listed = checked(json_content(text, LIST_FILE, source=str(out / LIST)), ListForm).files
    for path in out.rglob("*"):
        if path != out / "sounds" and str(path.relative_to(out).as_posix()) not in (LIST, *listed):
            raise BlindError(
                f"{path}: was not written with the earlier blind pack, and replacing the pack would lose it: "
                "move it elsewhere, or choose another name. Kept as it is"
            )


def _excerpts(
    sounds: Mapping[str, Source], *, start_s: float | None, length_s: float
) -> tuple[dict[str, Array], float]:
    dry, processed = sounds["dry"], sounds["processed"]
    facts = [(source.rate_hz, source.channels, source.frames) for source in (dry, processed)]
    if facts[0] != facts[1]:
        raise BlindError(
            "dry.wav and processed.wav differ in rate, channels or length: make the pair with charprobe ab"
        )
    count = round(length_s * dry.rate_hz)
    if length_s < 1 or count > dry.frames:
        raise BlindError(
            f"the excerpt lasts {length_s:g} s, the pair {dry.frames / dry.rate_hz:.2f} s: choose a --length "
            "from 1 s up to that"
        )
    first = _loudest(dry, count) if start_s is None else round(start_s * dry.rate_hz)
    if not 0 <= first <= dry.frames - count:
        raise BlindError(
            f"the excerpt from {first / dry.rate_hz:g} s on leaves the pair: choose another --start"
        )
    fade = faded_ends(count, round(_FADE_S * dry.rate_hz))
    room = 1 - 2 * _STEP  # the dither adds up to one step
    cut = {
        name: np.clip(source.read_frames(first, first + count) * fade[:, None], -room, room)
        for name, source in sounds.items()
    }
    return cut, first / dry.rate_hz


def _loudest(source: Source, count: int) -> int:
    """First frame, on a grid of a tenth of a second, of the stretch with the most energy."""
    hop = source.rate_hz // 10
    energy = [
        float(np.sum(source.read_frames(k, k + hop) ** 2)) for k in range(0, source.frames - hop + 1, hop)
    ]
    running = np.concatenate([[0.0], np.cumsum(energy)])
    span = min(count // hop, len(energy))
    first = int(np.argmax(running[span:] - running[: running.size - span])) * hop
    return min(first, source.frames - count)


def _draw(trials: int, controls: int, rng: np.random.Generator) -> list[Trial]:
    sides: tuple[Side, Side] = ("left", "right")
    sounds: tuple[Sound, Sound] = ("dry", "processed")
    drawn = []
    for _ in range(trials):
        left, right = sounds[::-1] if rng.integers(2) else sounds
        drawn.append(Trial(left, right, sides[int(rng.integers(2))]))
    for _ in range(controls):
        same = sounds[int(rng.integers(2))]
        drawn.append(Trial(same, same, sides[int(rng.integers(2))]))
    return [drawn[int(k)] for k in rng.permutation(len(drawn))]


def _names(count: int, rng: np.random.Generator) -> list[str]:
    names: set[str] = set()
    while len(names) < count:
        names.add(f"{rng.bytes(3).hex()}.wav")
    ordered = sorted(names)
    return [ordered[int(k)] for k in rng.permutation(count)]


def _place(drawn: list[Trial], names: list[str]) -> tuple[list[dict[str, str]], dict[str, Sound]]:
    """Give each trial three files of its own: the names of every seat, and what each file holds."""
    spare = iter(names)
    held: dict[str, Sound] = {}

    def new(sound: Sound) -> str:
        name = next(spare)
        held[name] = sound
        return name

    placed = []
    for trial in drawn:
        middle = trial.left if trial.middle == "left" else trial.right
        placed.append({"left": new(trial.left), "right": new(trial.right), "middle": new(middle)})
    return placed, held


def _write_page(folder: Path, key: Key, seal: str, placed: list[dict[str, str]]) -> None:
    prints = {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted((folder / "sounds").iterdir())
    }
    pack = {
        "schema": PACK_SCHEMA,
        "pack": key.pack,
        "seal": seal,
        "level": key.level,
        "power": power_text(sum(not trial.control for trial in key.trials), level=key.level),
        "trials": placed,
        "sounds": prints,
    }
    template = (
        resources.files("charprobe.listening.blind").joinpath("listen.html").read_text(encoding="utf-8")
    )
    page = template.replace("{/*PACK*/}", json.dumps(pack, sort_keys=True))
    write_text(folder / PAGE, page, force=False)
