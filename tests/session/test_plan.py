"""The plan of a session: captures in an order that shows drift, and what each claim still lacks."""

import re

from charprobe.session.file import parse_session
from charprobe.session.plan import plan_text

HEAD = """schema = "charprobe.session/1"
title = "Rack"
recipe = "{recipe}"
{bypass}
[device]
name = "A rack"
"""
SETTING = """[[setting]]
name = "{name}"
captures = [{captures}]
"""


def plan(
    folder, *, settings, claims="", recipe="standard", bypass='bypass = "off.wav"\nloopback = "loop.wav"'
):
    text = HEAD.format(recipe=recipe, bypass=bypass)
    for name, count in settings.items():
        captures = ", ".join(f'"{name} {i + 1}.wav"' for i in range(count))
        text += SETTING.format(name=name, captures=captures)
    return plan_text(parse_session(text + claims, path=folder / "s.toml"))


def order(text):
    return re.findall(r"^ *\d+  .*?  ->  (.*?)  \[", text, re.MULTILINE)


def test_path_first_then_rounds_and_the_earliest_setting_last(tmp_path):
    text = plan(tmp_path, settings={"A": 3, "B": 2, "C": 1})
    assert order(text) == [
        "loop.wav",
        "off.wav",
        "A 1.wav",
        "B 1.wav",
        "C 1.wav",
        "B 2.wav",
        "A 2.wav",
        "A 3.wav",
    ]
    assert "8 of 8 captures to go" in text


def test_without_a_repeat_the_plan_adds_one_at_the_end(tmp_path):
    text = plan(tmp_path, settings={"A": 1, "B": 1})
    assert order(text)[-1] == "list it as its second capture"
    assert "A once more" in text
    assert "No setting is listed twice" in text
