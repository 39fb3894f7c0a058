"""A session file from a few answers: commented, so that it can be filled in later by hand."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

from charprobe.session.file import SCHEMA, UNKNOWN


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


def session_text(answers: Answers) -> str:
    """Return the text of a session file whose takes are recorded live."""
    quoted = {key: json.dumps(str(value), ensure_ascii=False) for key, value in vars(answers).items()}
    path = 'loopback = "path/around.wav"   # the same path without the device' if answers.around else ""
    lines = [
        "# A charprobe session, recorded with `charprobe record`. Paths are relative to this file.",
        f'schema = "{SCHEMA}"',
        f"title = {quoted['device']}",
        f"recipe = {quoted['recipe']}            # what is played; `charprobe recipes` lists them",
        'bypass = "path/bypass.wav"    # the stage off, same path',
        *([path] if path else []),
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
