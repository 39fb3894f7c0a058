import pytest

from charprobe.session.file import parse_session
from charprobe.session.needs import needs_of
from charprobe.stimulus.recipe import load_recipe

HEAD = """schema = "charprobe.session/1"
bypass = "off.wav"
loopback = "loop.wav"
[device]
name = "A rack"
"""
SETTING = """[[setting]]
name = "{name}"
captures = [{captures}]
"""


def needs(folder, *, settings, claims, recipe="standard"):
    text = HEAD
    for name, count in settings.items():
        text += SETTING.format(name=name, captures=", ".join(f'"{name} {i + 1}.wav"' for i in range(count)))
    return "\n".join(needs_of(parse_session(text + claims, path=folder / "s.toml"), load_recipe(recipe)))


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
    assert said in needs(tmp_path, settings={"A": 2, "B": 1}, claims=claims, recipe=recipe)


@pytest.mark.parametrize(
    ("below", "recipe", "few"), [(-10, "standard", False), (-1, "standard", True), (-10, "static", True)]
)
def test_clean_below_asks_for_tones_of_three_frequencies(tmp_path, below, recipe, few):
    claims = f'[[claim]]\nsays = "clean below"\nsettings = ["A"]\nbelow_dbfs = {below}\nlimit_dbc = -80\n'
    text = needs(tmp_path, settings={"A": 2}, claims=claims, recipe=recipe)
    assert ("asks for tones of 3 frequencies" in text) == few


def test_a_claim_that_has_all_it_needs_is_not_mentioned(tmp_path):
    claims = '[[claim]]\nsays = "different"\nsettings = ["A", "B"]\nof = "release.t63"\n'
    text = needs(tmp_path, settings={"A": 2, "B": 2}, claims=claims)
    assert "claim" not in text
