import pytest

from charprobe.values.clock_text import clock_text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0:00:00.000"),
        (0.0004, "0:00:00.000"),
        (59.9996, "0:01:00.000"),
        (61.5, "0:01:01.500"),
        (36_000, "10:00:00.000"),
    ],
)
def test_times_read_as_in_an_editor(seconds, text):
    assert clock_text(seconds) == text
