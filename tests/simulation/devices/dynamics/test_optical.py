import numpy as np
import pytest

from charprobe.simulation.devices.dynamics.optical import OpticalLeveller
from tests.true_bursts import true_burst

RATE = 48_000.0
STAGE = OpticalLeveller("o", "o")


def release_t63_s(rng, hold_s):
    found = true_burst(
        STAGE,
        low_dbfs=-60.0,
        high_dbfs=-10.0,
        carrier_hz=997.0,
        lead_s=0.1,
        hold_s=hold_s,
        release_s=6.0,
        rate_hz=RATE,
        rng=rng,
    )
    return found.release.t63_s


def test_release_remembers_how_long_it_was_lit(rng):
    assert release_t63_s(rng, 3.0) > 1.3 * release_t63_s(rng, 0.1)


def test_settled_state_fulfils_the_rate_equations():
    level_dbfs = -10.0
    gain = 10 ** ((STAGE.static_gain_db(np.array([level_dbfs]))[0] - STAGE.makeup_db) / 20)
    carriers = 1 / gain - 1
    amplitude = 10 ** (level_dbfs / 20)
    drive = np.maximum(
        0, amplitude * gain * np.abs(np.cos(2 * np.pi * np.arange(4000) / 4000)) - STAGE.lamp_bias
    )
    light = np.mean(2 * drive**2)
    # trapping balances release at rest, so making equals recombination
    lost = carriers * (carriers + STAGE.leak) / STAGE.cell_s
    # ripple of the carriers within a period is what the mean leaves out
    assert STAGE.sensitivity * light == pytest.approx(lost, rel=0.01)


def test_silence_leaves_the_make_up():
    assert STAGE.static_gain_db(np.array([-60.0]))[0] == pytest.approx(STAGE.makeup_db, abs=1e-9)


def test_ratio_bends_softly():
    gains = STAGE.static_gain_db(np.array([-30.0, -20.0, -10.0, 0.0]))
    slopes = np.diff(gains) / 10
    assert (np.diff(slopes) < 0).all()
