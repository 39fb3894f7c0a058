import numpy as np
import pytest
from held import on_24_bit

from charprobe.listening.aligning.onsets import SPAN_S, rough_lags


@pytest.mark.parametrize(
    ("shift_s", "same_length"),
    [(-130.0, False), (-130.0, True), (-20.0, False), (0.0, True), (45.0, True), (150.0, False)],
)
def test_a_shift_of_minutes_is_found(shift_s, same_length, rng):
    """Noise whose level jumps now and then; the other file starts so much earlier or later."""
    rate_hz = 22_050
    steps = np.repeat(10 ** (rng.uniform(-30, 0, 800) / 20), rng.integers(2000, 9000, 800))
    sound = 0.3 * steps * rng.standard_normal(steps.size)
    lag = round(shift_s * rate_hz)
    late = np.concatenate([np.zeros(max(lag, 0)), 0.5 * sound[max(-lag, 0) :]])
    if same_length:
        late = np.pad(late, (0, max(sound.size - late.size, 0)))[: sound.size]
    late = late + 1e-4 * rng.standard_normal(late.size)
    found = list(rough_lags(*(on_24_bit(x, rate_hz=rate_hz) for x in (sound, late))))
    assert min(abs(place - lag) for place in found) <= 256  # a hop


def test_a_file_that_ends_just_after_a_stretch_is_searched_whole(rng):
    rate_hz = 22_050
    steps = np.repeat(10 ** (rng.uniform(-30, 0, 1200) / 20), rng.integers(2000, 9000, 1200))
    sound = 0.3 * steps * rng.standard_normal(steps.size)
    long = sound[: round(SPAN_S * rate_hz) + 100]  # the stretch after it is shorter than a hop
    late = long[200 * rate_hz : 230 * rate_hz]
    found = list(rough_lags(on_24_bit(late, rate_hz=rate_hz), on_24_bit(long, rate_hz=rate_hz)))
    assert min(abs(place - 200 * rate_hz) for place in found) <= 256  # a hop
