import numpy as np
import pytest

from charprobe.simulation.devices.dynamics.feedback_compressor import FeedbackCompressor, solve_feedback
from charprobe.simulation.devices.parts.gain_computer import Bend

RATE = 48_000.0


def reduction(level, *, ratio, attack_s, release_s=0.5, knee_db=0.0):
    return solve_feedback(
        level,
        bend=Bend(-30, 1, knee_db),
        loop_gain=ratio - 1,
        attack_s=attack_s,
        release_s=release_s,
        rate_hz=RATE,
    )


@pytest.mark.parametrize("ratio", [2, 4, 10])
def test_loop_closes_to_the_time_constant_over_the_ratio(ratio):
    level = np.concatenate([np.full(48_000, -25.0), np.full(48_000, -5.0)])  # both beyond the hard knee
    out = reduction(level, ratio=ratio, attack_s=0.02)[47_999:]
    start, end = 5 * (1 - 1 / ratio), 25 * (1 - 1 / ratio)
    t = np.arange(out.size) / RATE
    expected = end + (start - end) * np.exp(-t * ratio / 0.02)
    np.testing.assert_allclose(out, expected, rtol=0, atol=1e-8)  # rounding and the root's own 1e-12


def test_tail_of_the_release_runs_at_the_open_loop():
    level = np.concatenate([np.full(48_000, -10.0), np.full(96_000, -60.0)])
    out = reduction(level, ratio=4, attack_s=0.01, release_s=0.3)[48_000:]
    t = np.arange(1, out.size + 1) / RATE
    np.testing.assert_allclose(out, 15 * np.exp(-t / 0.3), rtol=0, atol=1e-8)


@pytest.mark.parametrize("ratio", [3.1, 20, 1e6])
def test_20_us_attack_neither_rings_nor_grows(ratio):
    out = reduction(np.full(4800, 0.0), ratio=ratio, attack_s=20e-6)
    assert (np.diff(out) >= -1e-9).all()
    assert out[-1] == pytest.approx(30 * (1 - 1 / ratio), abs=1e-6)


@pytest.mark.parametrize("ratio", [1, 3, 50])
@pytest.mark.parametrize("knee_db", [0, 8])
def test_settled_loop_equals_the_closed_static_curve(ratio, knee_db):
    stage = FeedbackCompressor("f", "f", -30, ratio, attack_s=1e-4, release_s=1e-4, knee_db=knee_db)
    levels = np.linspace(-45, 0, 40)
    settled = [reduction(np.full(2000, lv), ratio=ratio, attack_s=1e-4, knee_db=knee_db)[-1] for lv in levels]
    # 2000 samples are 400 time constants; the rest is the root's own 1e-12
    np.testing.assert_allclose(-stage.static_gain_db(levels), settled, rtol=0, atol=1e-8)


def test_soft_knee_ends_at_ratio_times_half_its_width_on_the_input_axis():
    stage = FeedbackCompressor("f", "f", -30, 4, attack_s=0.01, release_s=0.1, knee_db=6)
    edge = -30 + 4 * 3.0
    assert stage.static_gain_db(np.array([edge]))[0] == pytest.approx(-0.75 * 12, abs=1e-12)
    assert stage.static_gain_db(np.array([-33.0]))[0] == 0


def test_infinite_ratio_is_refused():
    with pytest.raises(ValueError, match="feedback loop reaches ratios"):
        FeedbackCompressor("f", "f", -30, np.inf, attack_s=0.01, release_s=0.1)
