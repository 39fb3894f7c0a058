import numpy as np
import pytest

from charprobe.simulation.devices.parts.settled import settled_gain_db


def test_curve_is_read_by_its_describing_function():
    levels = np.array([[-20.0], [-6.0]])
    found = settled_gain_db(
        lambda tone, rate_hz: tone - 0.2 * tone**3, levels, frequency_hz=997.0, settle_s=0.1
    )
    amplitude = 10 ** (levels / 20)
    # the Hann window's skirt at order 3, some 200 bins away, is below 1e-6
    np.testing.assert_allclose(found, 20 * np.log10(1 - 0.15 * amplitude**2), rtol=0, atol=1e-5)


def test_what_happens_before_settling_leaves_no_trace():
    def late(tone, rate_hz):
        out = tone.copy()
        out[: int(0.2 * rate_hz)] = 1.0
        return out

    found = settled_gain_db(late, np.array([-30.0]), frequency_hz=500.0, settle_s=0.2)
    assert found[0] == pytest.approx(0, abs=1e-9)
