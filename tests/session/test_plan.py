"""The plan of a session: captures in an order that shows drift, and what each claim still lacks."""

import re

import pytest

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


@pytest.mark.parametrize(
    ("claim", "recipe", "said"),
    [
        ('says = "same"\nof = "attack.t63"', "standard", "are same asks for repeats of B"),
        ('says = "different"\nof = "release.memory"', "quick", "asks for a burst_lengths segment"),
        ('says = "identical"', "standard", "two or more units, or several channels, of each"),
        ('says = "only louder"', "timing", "asks for a sweep segment"),
        ('says = "same"\nof = "noise spectrum"', "static", "asks for a silence segment"),
        ('says = "same"\nof = "colour.imd_smpte"', "standard", "capture the recipe full"),
    ],
)
def test_what_a_claim_lacks_is_said(tmp_path, claim, recipe, said):
    claims = f'[[claim]]\nsettings = ["A", "B"]\n{claim}\n'
    assert said in plan(tmp_path, settings={"A": 2, "B": 1}, claims=claims, recipe=recipe)


@pytest.mark.parametrize(
    ("below", "recipe", "few"), [(-10, "standard", False), (-1, "standard", True), (-10, "static", True)]
)
def test_clean_below_asks_for_tones_of_three_frequencies(tmp_path, below, recipe, few):
    claims = f'[[claim]]\nsays = "clean below"\nsettings = ["A"]\nbelow_dbfs = {below}\nlimit_dbc = -80\n'
    text = plan(tmp_path, settings={"A": 2}, claims=claims, recipe=recipe)
    assert ("asks for tones of 3 frequencies" in text) == few


def test_a_claim_that_has_all_it_needs_is_not_mentioned(tmp_path):
    claims = '[[claim]]\nsays = "different"\nsettings = ["A", "B"]\nof = "release.t63"\n'
    text = plan(tmp_path, settings={"A": 2, "B": 2}, claims=claims)
    assert "claim" not in text
