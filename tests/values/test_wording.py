import pytest

from charprobe.values.quantity import Quantity, Unmeasured
from charprobe.values.wording import clock_text, literal, readable, shortened


@pytest.mark.parametrize(
    ("reading", "text"),
    [
        (Quantity.from_std(-22.0, 0.02, "dBFS"), "−22.00 ± 0.04 dBFS"),
        (Quantity.from_std(-0.0001, 0.05, "dB"), "0.00 ± 0.10 dB"),
        (Quantity.from_std(1.5, 0.01, "s"), "1.500 ± 0.020 s"),
        (Quantity.from_std(0.000_02, 0.000_001, "s"), "0.0200 ± 0.0020 ms"),
        (Quantity(4.0, 3.97, 4.03, ":1"), "4.00:1 (3.97 to 4.03)"),
        (Quantity(0.005, 0.005, 0.009, "s"), "5.0 ms (5.0 to 9.0)"),
        (Quantity(12_500, 12_400, 12_600, "Hz"), "12.50 ± 0.10 kHz"),
        (Quantity(2, 2, 2, "1"), "2"),
        (Unmeasured(":1", "slope near zero", "larger steps", at_least=20), "≥ 20:1"),
        (Unmeasured("s", "too fast", "higher tone", at_most=0.0001), "≤ 0.1 ms"),
        (Unmeasured("dB", "none stands out", "less noise", at_most=7.94e-6), "≤ 0.001 dB"),
        (Unmeasured("s", "absent", "another recipe"), "–"),
    ],
)
def test_readings_in_words(reading, text):
    assert readable(reading).text == text


@pytest.mark.parametrize("std", [0.0011, 0.0149, 0.03, 0.2, 7.0])
def test_the_printed_interval_never_claims_more_than_the_data(std):
    reading = Quantity.from_std(-3.0, std, "dB")
    reach = float(readable(reading).spread.removeprefix("± "))
    assert reading.high - reading.value <= reach + 1e-12
    assert reach < 1.5 * (reading.high - reading.value)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("$x_1 % <b>", "$x_1 % <b>"),
        ("two\r\nlines\nand", "two↵lines↵and"),
        ("\x1b[31mred", "\\x1b[31mred"),
        ("ab\u202ecd", "ab\\u202ecd"),
        ("\ud800", "\\ud800"),
        ("日本 é", "日本 é"),
    ],
)
def test_the_users_text_is_shown_literally_and_cannot_steer_the_terminal(text, shown):
    assert literal(text) == shown


def test_a_cut_text_says_so():
    assert shortened("abcdef", 4) == "abc…"
    assert shortened("abcd", 4) == "abcd"


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
