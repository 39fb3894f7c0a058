"""Windows of a dry file found in a processed one."""

import numpy as np
import pytest
from held import on_24_bit

from charprobe.listening.aligning.delay_fit import Guide
from charprobe.listening.aligning.delay_track import MIN_SCORE, WINDOW, match_window, window_length

RATE_HZ = 48_000


@pytest.mark.parametrize(("lag", "polarity"), [(123, 1), (-77, -1)])
def test_a_window_is_matched_at_its_lag_and_way_up(lag, polarity, rng):
    dry = 0.1 * rng.standard_normal(40_000)
    guide = Guide(
        on_24_bit(dry, rate_hz=RATE_HZ), on_24_bit(polarity * np.roll(dry, lag), rate_hz=RATE_HZ), (0,)
    )
    found = match_window(guide, start=15_000, size=4096, lag=0, reach=500)
    assert (found.lag, found.polarity) == (lag, polarity)
    assert found.score > MIN_SCORE


def test_what_is_not_there_scores_low(rng):
    one, other = (on_24_bit(0.1 * rng.standard_normal(40_000), rate_hz=RATE_HZ) for _ in range(2))
    found = match_window(Guide(one, other, (0,)), start=15_000, size=4096, lag=0, reach=500)
    assert found.score < MIN_SCORE


def test_windows_are_powers_of_two_that_fit_twice():
    assert [window_length(frames) for frames in (100, 10_000, 10**7)] == [1024, 4096, WINDOW]
