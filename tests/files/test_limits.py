"""Markers at fields: what they let through, and what the schema says of them."""

from typing import Annotated

import pytest
from pydantic import TypeAdapter, ValidationError

from charprobe.files.limits import Among, Number, Says, Sha256


@pytest.mark.parametrize(
    ("form", "good", "bad"),
    [
        (Annotated[int, Among((-1, 1))], [-1, 1], [0, 2]),
        (Annotated[str, Says("small letters", "^[a-z]+$")], ["abc"], ["", "aB"]),
        (Sha256, ["0f" * 32], ["0F" * 32, "0f" * 31, "0f" * 33]),
        (Number, [1e12, -1e12], [1.1e12, float("inf"), float("nan")]),
    ],
)
def test_only_what_is_allowed_passes(form, good, bad):
    adapter = TypeAdapter(form)
    assert [adapter.validate_python(value) for value in good] == good
    for value in bad:
        with pytest.raises(ValidationError):
            adapter.validate_python(value)


def test_the_schema_says_the_same():
    assert TypeAdapter(Annotated[int, Among((16, 24))]).json_schema()["enum"] == [16, 24]
    said = TypeAdapter(Annotated[str, Says("small letters", "^[a-z]+$")]).json_schema()
    assert (said["description"], said["pattern"]) == ("small letters", "^[a-z]+$")
