import numpy as np
import pytest
from scipy.stats import f as fisher

from charprobe.replica.doubt import Doubt

RATE_HZ, DRAWS = 48_000, 4


def doubt_of(result, differences):
    doubt = Doubt(rate_hz=RATE_HZ, draws=DRAWS)
    for start in range(0, len(result), 17_001):  # blocks of no special size
        part = slice(start, start + 17_001)
        doubt.add(result[part], [one[part] for one in differences], printed=result[part])
    return doubt


def test_error_and_bound_are_energies_of_the_differences_over_that_of_the_sound(rng):
    result = rng.standard_normal((RATE_HZ, 2))
    doubt = doubt_of(result, [0.01 * rng.standard_normal((RATE_HZ, 2)) for _ in range(DRAWS)])
    assert doubt.error_db() == pytest.approx(-40.0, abs=0.1)  # 4 x 96000 samples: 0.02 dB
    factor_db = 10 * np.log10(fisher.ppf(0.95, 1, DRAWS))
    assert doubt.bound_db() - doubt.error_db() == pytest.approx(factor_db)
    time_s, bound_db = doubt.over_time_db()
    np.testing.assert_allclose(time_s, [0.125, 0.375, 0.625, 0.875])
    np.testing.assert_allclose(bound_db, -40.0 + factor_db, atol=0.2)


def test_silence_has_no_bound_and_a_band_only_where_there_is_sound(rng):
    time = np.arange(RATE_HZ)[:, None] / RATE_HZ
    result = np.sin(2 * np.pi * 1000 * time) * (time < 0.5)
    doubt = doubt_of(result, [0.001 * result] * DRAWS)
    assert np.isnan(doubt.over_time_db()[1]).tolist() == [False, False, True, True]
    low, high, bound = max(doubt.bands_db(), key=lambda band: band[0] < 1000 < band[1])
    assert low < 1000 < high
    assert bound == pytest.approx(-60.0 + 10 * np.log10(fisher.ppf(0.95, 1, DRAWS)), abs=0.1)
