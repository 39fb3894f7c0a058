import numpy as np
import pytest
from taken import column


def test_phases_tell_the_signs_of_the_polynomial(coloured):
    at = column(coloured, "harmonics", "frequency_hz") == 997.0
    at &= np.abs(column(coloured, "harmonics", "input_dbfs") + 6) < 0.1
    row = int(np.flatnonzero(at)[0])
    assert column(coloured, "harmonics", "h2_deg")[row] == pytest.approx(0, abs=1)
    assert abs(column(coloured, "harmonics", "h3_deg")[row]) == pytest.approx(180, abs=1)
