"""The JSON text of a profile: small, stable, strict."""

import json

import pytest

from charprobe.profile.json_form import BoundForm, MeasuredForm, render


def test_objects_take_a_line_a_key_and_plain_lists_one_line():
    text = render({"a": [1, 2.5, None], "b": {"é": [], "c": [{"d": 1}]}})
    assert (
        text
        == '{\n "a": [1, 2.5, null],\n "b": {\n  "é": [],\n  "c": [\n   {\n    "d": 1\n   }\n  ]\n }\n}\n'
    )
    assert json.loads(text) == {"a": [1, 2.5, None], "b": {"é": [], "c": [{"d": 1}]}}


def test_what_json_has_no_word_for_is_refused():
    with pytest.raises(ValueError, match="not JSON compliant"):
        render({"a": float("nan")})


def test_half_a_character_becomes_a_question_mark():
    assert render({"name": "a\udc80b"}) == '{\n "name": "a?b"\n}\n'


def test_a_value_outside_its_interval_and_a_bound_of_nothing_are_refused():
    with pytest.raises(ValueError, match="interval"):
        MeasuredForm(3.0, "dB", 1.0, 2.0, "d", "").entry()
    with pytest.raises(ValueError, match="at_most"):
        BoundForm()
