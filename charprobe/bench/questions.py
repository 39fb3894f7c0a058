"""A session file from a few answers, each checked as it is given: commented, to be filled in by hand."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol, TypeVar

from charprobe.bench.jobs import jobs_of
from charprobe.session.file import SCHEMA, UNKNOWN, parse_session
from charprobe.values.errors import LiveError

T = TypeVar("T")


@dataclass(frozen=True)
class Answers:
    """What was asked: the device, its settings in order, and whether the path can be taken without it."""

    device: str
    settings: Sequence[str]
    recipe: str = "quick"
    maker: str = UNKNOWN
    serial: str = UNKNOWN
    firmware: str = UNKNOWN
    gain: str = UNKNOWN
    around: bool = False


class Asks(Protocol):
    """Who asks the person; `ask` repeats a question until `read` takes the answer."""

    def ask(self, question: str, usual: str, read: Callable[[str], T]) -> T:
        """Ask for words."""

    def agree(self, question: str) -> bool:
        """Ask for yes or no."""


QUESTIONS = (  # question, field, what Enter means
    ("What is the device called?", "device", "device"),
    ("Maker?", "maker", UNKNOWN),
    ("Serial number?", "serial", UNKNOWN),
    ("Firmware?", "firmware", UNKNOWN),
    ("Position of the input gain?", "gain", UNKNOWN),
    ("Names of its settings, with commas?", "settings", "on"),
    ("Recipe to play (`charprobe recipes` lists them)?", "recipe", "quick"),
)


def asked(person: Asks, path: Path) -> str:
    """Ask what makes a session file; return its text, which is valid as a whole after every answer."""
    answers = Answers("device", ["on"])
    for question, field, usual in QUESTIONS:
        answers = person.ask(question, usual, _reader(answers, field, path))
    around = person.agree("Can you patch around the device (output straight into input)?")
    return session_text(replace(answers, around=around))


def _reader(answers: Answers, field: str, path: Path) -> Callable[[str], Answers]:
    """Give what takes the answer to one question, or raises `CharprobeError`."""

    def read(text: str) -> Answers:
        if not text.isprintable():  # also what a terminal of another encoding makes of a letter
            raise LiveError("an answer holds characters that cannot be read or printed: type it otherwise")
        given: Any = text.strip()
        if field == "settings":
            given = [name.strip() for name in text.split(",") if name.strip()]
        if not given:
            raise LiveError("an answer is needed here")
        made = replace(answers, **{field: given})
        jobs_of(parse_session(session_text(made), path=path))
        return made

    return read


def session_text(answers: Answers) -> str:
    """Return the text of a session file whose takes are recorded live."""
    quoted = {key: json.dumps(str(value), ensure_ascii=False) for key, value in vars(answers).items()}
    around = ['loopback = "path/around.wav"   # the same path without the device'] if answers.around else []
    lines = [
        "# A charprobe session, recorded with `charprobe record`. Paths are relative to this file.",
        f'schema = "{SCHEMA}"',
        f"title = {quoted['device']}",
        f"recipe = {quoted['recipe']}            # what is played; `charprobe recipes` lists them",
        'bypass = "path/bypass.wav"    # the stage off, same path',
        *around,
        'pool = "captures"             # takes of settings, known by the number in their sound',
        "",
        "[device]",
        f"name = {quoted['device']}",
        f"maker = {quoted['maker']}             # unknown is allowed everywhere, and printed",
        f"serial = {quoted['serial']}",
        f"firmware = {quoted['firmware']}",
        f"gain = {quoted['gain']}       # of the input, which sets how hard the stage is driven",
        'play_path = "unknown"         # converter, output, cable',
        'record_path = "unknown"',
    ]
    for number, name in enumerate(answers.settings, start=1):
        lines += [
            "",
            "[[setting]]",
            f"name = {json.dumps(name, ensure_ascii=False)}",
            f"take = {number}",
            '# notes = "positions of every knob"',
        ]
    return "\n".join(lines) + "\n"
