from pathlib import Path

import pytest

from charprobe.session.file import STARTER, Claim, load_session, parse_session
from charprobe.values.errors import SessionError

HEAD = 'schema = "charprobe.session/1"\n[device]\nname = "x"\n'
ONE = HEAD + '[[setting]]\nname = "a"\ncaptures = ["a.wav"]\n'
TWO = ONE + '[[setting]]\nname = "b"\ncaptures = ["b.wav"]\n'


def parsed(text):
    return parse_session(text, path=Path("/bench/s.toml"))


def test_the_starter_is_valid_and_names_what_is_unknown():
    session = parsed(STARTER)
    assert session.device.firmware == "unknown"
    assert session.settings[0].captures[1] == Path("/bench/captures/voice 2.wav")
    assert session.claims == (Claim("different", ("voice", "crowd"), "release.t63"),)


def test_what_is_left_out_is_unknown_and_all_channels_are_measured():
    session = parsed(ONE)
    assert (session.title, session.recipe, session.bypass) == ("s", "standard", None)
    assert session.settings[0].channels is None
    assert session.device.maker == "unknown"


BAD = {
    "no schema": ('[device]\nname = "x"', "`schema` is missing"),
    "not TOML": ("=", "not valid TOML"),
    "unknown key": (ONE + "colour = 1\n", "setting 1: there is no key `colour`; known keys: name, captures"),
    "no settings": (HEAD, "`setting` is missing; allowed: 1 to 200 entries"),
    "no device": (
        'schema = "charprobe.session/1"\n[[setting]]\nname = "a"\ncaptures = ["a"]',
        "`device` is missing; allowed: a table with name, maker, serial",
    ),
    "empty name": (ONE.replace('"a"', '" "'), "setting 1: `name` is ' '"),
    "no captures": (
        HEAD + '[[setting]]\nname = "a"\n',
        "setting 1: `captures` is missing; allowed: 1 to 100 entries",
    ),
    "take without pool": (
        HEAD + '[[setting]]\nname = "a"\ntake = 1\n',
        "setting 1: `captures` is missing; allowed: .* `pool`",
    ),
    "take twice": (
        'pool = "p"\n' + HEAD + '[[setting]]\nname = "a"\ntake = 1\n[[setting]]\nname = "b"\ntake = 1\n',
        "line 10, setting 2: `take` is 1; allowed: a number of its own",
    ),
    "take too large": (ONE + "take = 256\n", "`take` is 256; allowed: a whole number from 0 to 255"),
    "loop-back without bypass": (
        'loopback = "l"\n' + ONE,
        "name that capture as `bypass`",
    ),
    "margin of nothing": (ONE + '[[margin]]\nof = "x"\nsize = 2\nreason = "y"\n', "margin 1: `of` is 'x'"),
    "margin too small": (
        ONE + '[[margin]]\nof = "attack.t63"\nsize = 1\nreason = "y"\n',
        "line 9, margin 1: `size` is 1; allowed: a factor above 1",
    ),
    "bottomless": (ONE + "a" + ".a" * 9999 + " = 1\n", "nested deeper than 5 levels"),
    "captures is text": (
        ONE.replace('["a.wav"]', '"a.wav"'),
        "`captures` is 'a.wav'; allowed: up to 100 entries",
    ),
    "channel zero": (ONE + "channels = [0]\n", "channel numbers, counted from 1"),
    "channel twice": (ONE + "channels = [1, 1]\n", "different channel numbers"),
    "name twice": (ONE + '[[setting]]\nname = "a"\ncaptures = ["b.wav"]\n', "two settings are called 'a'"),
    "name twice but for its case": (
        ONE + '[[setting]]\nname = "A"\ncaptures = ["b.wav"]\n',
        "two settings are called 'A'",
    ),
    "claim of a stranger": (
        TWO + '[[claim]]\nsays = "same"\nsettings = ["a", "z"]\n',
        "names of settings of this session: a, b",
    ),
    "claim of one": (
        TWO + '[[claim]]\nsays = "same"\nsettings = ["a"]\n',
        "`settings` is \\['a'\\]; allowed: 2 to 20",
    ),
    "claim says": (
        TWO + '[[claim]]\nsays = "warm"\nsettings = ["a", "b"]\n',
        '`says` is .warm.; allowed: "same", "different"',
    ),
    "claim of nothing": (
        TWO + '[[claim]]\nsays = "same"\nsettings = ["a", "b"]\nof = "attack.t64"\n',
        "name of a quantity",
    ),
    "clean without level": (
        TWO + '[[claim]]\nsays = "clean below"\nsettings = ["a"]\n',
        "`below_dbfs` is missing",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_a_bad_session_names_place_found_and_allowed(case):
    text, match = BAD[case]
    with pytest.raises(SessionError, match=match) as caught:
        parsed(text)
    assert str(caught.value).startswith("/bench/s.toml")


def test_a_missing_or_odd_file_is_named(tmp_path):
    with pytest.raises(SessionError, match="--new FILE"):
        load_session(tmp_path / "no.toml")
    (tmp_path / "odd.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(SessionError, match="not UTF-8"):
        load_session(tmp_path / "odd.toml")
