import json
import time
import tracemalloc

import pytest
from hypothesis import given
from hypothesis import strategies as st

from charprobe.files.strict_json import parse_strict


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("NaN", "NaN is not a JSON number"),
        ("[-Infinity]", "-Infinity is not a JSON number"),
        ("1e400", "number 1e400 is out of range"),
        ("9" * 20, "is out of range"),
        ("9" * 10_000, "is out of range"),
        ('{"a": {"b": 1, "b": 1}}', "key 'b' appears twice"),
        ("\n\n" + "[" * 4, "line 3: nested deeper than 3 levels"),
        ('{"a": 1,}', "line 1 column"),
        ("", "line 1 column 1"),
    ],
)
def test_what_the_standard_forbids_is_refused(text, message):
    with pytest.raises(ValueError, match=message):
        parse_strict(text, max_depth=3)


def test_brackets_inside_text_are_not_depth():
    assert parse_strict('["[[[[{{{{\\"[[["]', max_depth=1) == ['[[[[{{{{"[[[']


@pytest.mark.parametrize("text", ['"' + "x" * 3_000_000 + '"', '"' + '\\"' * 1_000_000])
def test_long_text_costs_its_length_closed_or_not(text):
    tracemalloc.start()
    begin = time.process_time()
    try:
        parse_strict(text, max_depth=3)
    except ValueError as error:
        assert "Unterminated" in str(error)
    finally:
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert peak < 10 * len(text)  # the text and its copies; going back would keep a state for each character
    assert time.process_time() - begin < 5  # each character is read once; quadratic would be an hour


plain = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**60), 2**60) | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=10),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=10), inner, max_size=4),
    max_leaves=10,
)  # fmt: skip


@given(plain)
def test_whatever_can_be_written_strictly_comes_back(value):
    assert parse_strict(json.dumps(value, allow_nan=False), max_depth=20) == value


@given(st.text(max_size=60))
def test_any_text_parses_or_is_refused(text):
    try:
        value = parse_strict(text, max_depth=5)
    except ValueError:
        return
    json.dumps(value, allow_nan=False)
