import os

import pytest

from charprobe.files.untrusted import Content, FileKind, json_content, read_text, toml_content
from charprobe.values.errors import VoltsError

KIND = FileKind("list of takes", VoltsError, 40, 4, "write one", "keep to it")
NAMED = FileKind("list of takes", VoltsError, 40, 3, "write one", schema="takes/1")


def test_a_file_is_read_to_its_limit_and_no_further(tmp_path):
    path = tmp_path / "a.toml"
    path.write_text("x" * 40)
    assert read_text(path, KIND) == "x" * 40
    path.write_text("x" * 41)
    with pytest.raises(VoltsError, match=r"a\.toml: larger than 40 bytes, too large for a list of takes"):
        read_text(path, KIND)
    path.write_bytes(b"ab\xff")
    with pytest.raises(VoltsError, match=r"a\.toml: not UTF-8 text \(byte 2\); write one"):
        read_text(path, KIND)
    with pytest.raises(VoltsError, match="no: cannot be read: No such file or directory; write one"):
        read_text(tmp_path / "no", KIND)
    with pytest.raises(VoltsError, match=f"{tmp_path}: is a folder, a list of takes is needed; write one"):
        read_text(tmp_path, KIND)


def test_a_pipe_that_nobody_fills_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(VoltsError, match=r"pipe\.toml: cannot be read: not an ordinary file"):
        read_text(tmp_path / "pipe.toml", KIND)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("=", "x: not valid TOML: Invalid statement .* line 1"),
        ("a = " + "9" * 5000, "x, line 1: a number of 5000 digits; allowed: 400"),
        ("a = -" + "9" * 5000 + ".5", "x, line 1: a number of 50.. digits"),
        ("\na = 0x" + "F" * 5000, "x, line 2: a number of 5002 digits"),
        ("\na = 0x" + "F" * 100, r"x, line 2: `a` is about 10\^120; allowed: a number of at most 19 digits"),
        ("\na = " + "[" * 10_000, "x, line 2: nested deeper than 4 levels"),
        ("a" + ".a" * 20_000 + " = 1", "x, line 1: nested deeper than 4 levels"),
        ("[" + "a." * 20_000 + "a]", "x, line 1: nested deeper than 4 levels"),
        ("[a.b]\nc.d = {e.f = 1}", "x, a, b: `b` is a table with c|x, a: `b` is a table with c"),
        ("[t]\na = 2001-02-03", r"x, line 2, t: `a` is datetime.date\(2001, 2, 3\); allowed: text"),
        ("[[rows]]\n[[rows]]\na = [1, 02:03:04]", "x, line 3, row 2: entry 2 of `a` is datetime.time"),
    ],
)
def test_what_toml_allows_beyond_reason_is_refused(text, message):
    with pytest.raises(VoltsError, match=message) as caught:
        toml_content(text, KIND, source="x")
    assert str(caught.value).endswith("; keep to it")
    assert len(str(caught.value)) < 250


@pytest.mark.parametrize("text", ["{", "", "[[[[[]]]]]", '{"a": NaN}', '{"a": 1, "a": 1}'])
def test_what_strict_json_forbids_is_refused(text):
    with pytest.raises(VoltsError, match=r"x: not strict JSON: .*; keep to it"):
        json_content(text, KIND, source="x")


@pytest.mark.parametrize(("text", "found"), [("{}", "missing"), ("[]", r"\[\]"), ('{"schema": 3}', "3")])
def test_a_file_of_another_kind_is_named(text, found):
    says = f'x: not a list of takes: `schema` is {found}; allowed: "takes/1"; write one'
    with pytest.raises(VoltsError, match=says):
        json_content(text, NAMED, source="x")


TOML = """title = "a"
[device]
name = "b"
[[rows]]
takes = [1]
[[rows]]
takes = [2, 3]
"""


@pytest.mark.parametrize(
    ("place", "message"),
    [
        (("title",), "x, line 1: `title` is 'a'; allowed: y"),
        (("device", "name"), "x, line 3, device: `name` is 'b'; allowed: y"),
        (("device", "maker"), "x, line 2, device: `maker` is missing; allowed: y"),
        (("rows", 1, "takes"), "x, line 7, row 2: `takes` is [2, 3]; allowed: y"),
        (("rows", 1, "takes", 0), "x, line 7, row 2: entry 1 of `takes` is 2; allowed: y"),
        (("rows", 0), "x, line 4: entry 1 of `rows` is a table with takes; allowed: y"),
        (("rows",), "x: `rows` is 2 entries; allowed: y"),
        ((), "x: is a table with title, device, rows; allowed: y"),
        (("a\n\x1b" + "b" * 99,), "x: `a\\n\\x1b" + "b" * 52 + "…` is missing; allowed: y"),
    ],
)
def test_a_fault_names_line_place_found_and_allowed(place, message):
    table = {"title": "a", "device": {"name": "b"}, "rows": [{"takes": [1]}, {"takes": [2, 3]}]}
    assert str(Content(NAMED, "x", table, TOML).fault(*place, allowed="y")) == message
