import numpy as np
import pytest
from known_harmonics import TONES, capture, truths

from charprobe.estimators.colour.harmonic_cell import least_seen
from charprobe.estimators.colour.harmonics import measure_harmonics
from charprobe.values.quantity import ORDER_SEEN, Quantity, Unmeasured


def test_thd_is_the_root_sum_of_squares():
    cell = measure_harmonics(capture(), tones=TONES)[1]
    assert isinstance(cell.thd, Quantity)
    assert cell.thd.value == pytest.approx(10 * np.log10(sum(h**2 for h in truths(-10))), abs=1e-4)


def test_hidden_orders_are_bounds_and_not_values(rng):
    cells = measure_harmonics(capture(noise_rms=1e-4, rng=rng, device=lambda x: x), tones=TONES)
    for cell in cells:
        assert isinstance(cell.thd, Unmeasured) and cell.thd.at_most is not None
        for order in range(2, cell.orders + 1):
            level = cell.level(order)
            assert isinstance(level, Unmeasured)
            assert level.at_most >= cell.limits_dbc[order - 2] - 1e-9
            assert isinstance(cell.phase(order), Unmeasured)


def test_orders_above_the_band_say_so():
    cell = measure_harmonics(capture(), tones=TONES)[3]
    assert cell.orders == 4  # 4 x 5003 Hz < 22.8 kHz < 5 x 5003 Hz
    reading = cell.level(7)
    assert isinstance(reading, Unmeasured) and "band" in reading.reason and reading.at_most is None


@pytest.mark.parametrize("size", [2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 9.0])
def test_of_orders_that_noise_made_large_enough_to_be_seen_few_are_smaller_than_they_may_be(size, rng):
    noise = rng.standard_normal((2, 2_000_000))
    found = np.hypot(size + noise[0], noise[1])
    seen = np.sort(found[found > ORDER_SEEN])
    large = float(seen[int(0.975 * seen.size)])  # one in forty of those that are seen seems larger
    # the size across the phase adds a tenth of a standard deviation to sizes about 5
    assert least_seen(large, 1.0) == pytest.approx(size, abs=0.3)
    assert least_seen(ORDER_SEEN + 0.3, 1.0) == 0
