import numpy as np
import pytest

from charprobe.values.editors_digits import edited, edited_number
from charprobe.values.quantity import Quantity, Unmeasured


@pytest.mark.parametrize(
    ("reading", "text"),
    [
        (Quantity(-26.0, -26.001, -25.999, "dBFS"), "−26.0 dBFS ± 0.1"),
        (Quantity(3.0, 2.9999, 3.0001, ":1"), "3.0:1 ± 0.1"),
        (Quantity(10.04, 10.0, 10.08, ":1"), "10.0:1 ± 0.1"),
        (Quantity(0.09028, 0.0902, 0.0903, "s"), "90 ms ± 1"),
        (Quantity(0.1283, 0.1281, 0.1285, "s"), "128 ms ± 1"),
        (Quantity(0.00071, 0.00069, 0.00073, "s"), "0.71 ms ± 0.02"),
        (Quantity(1.5e-5, 1.4e-5, 1.6e-5, "s"), "0.02 ms ± 0.01"),
        (Quantity(2.41, 1.9, 3.4, "s"), "2.4 s (1.9 to 3.4)"),
        (Unmeasured("dBc", "", "", at_most=-114.23), "≤ −114.2 dBc"),
        (Unmeasured(":1", "", "", at_least=19.97), "≥ 19.9:1"),
        (Unmeasured("s", "", ""), "–"),
    ],
)
def test_print_has_few_digits(reading, text):
    assert edited(reading).text == text


def test_what_is_printed_never_claims_more_than_was_measured():
    rng = np.random.default_rng(5)
    for _ in range(400):
        value = float(rng.choice([-1, 1]) * 10 ** rng.uniform(-3, 3))
        down, up = (float(abs(value) * 10 ** rng.uniform(-6, 0.5)) for _ in range(2))
        shown = edited(Quantity(value, value - down, value + up, "dB"))
        number = float(shown.value.replace("−", "-"))
        numbers = shown.spread.replace("−", "-").strip("±() ").split(" to ")
        ends = [float(text) for text in numbers]
        low, high = ends if len(ends) == 2 else (number - ends[0], number + ends[0])
        assert low <= value - down + 1e-9
        assert high >= value + up - 1e-9
        step = 10.0 ** -(len(shown.value.partition(".")[2]))
        assert step >= 0.0999
        assert step >= (down + up) / 2 / 20 - 1e-9 or step == 1  # ± 1.9 bears tenths, ± 2.1 does not


def test_a_plain_number_is_worded_like_a_reading():
    assert edited_number(-0.04, "dB") == "0.0 dB"
    assert edited_number(3.104, "1") == "3.1"
