import numpy as np
from judged_pairs import codes, judged_path, recorded
from scipy.ndimage import uniform_filter1d

from charprobe.measuring.health.judge import judge_pair
from charprobe.simulation.rig import faults


def test_a_gate_that_leaves_the_loudest_tones_alone_is_not_normalised():
    def gated(samples):
        loud = uniform_filter1d(np.abs(samples[:, 0]), 4800) > 10 ** (-34 / 20)
        smooth = uniform_filter1d(loud.astype(float), 480)
        return samples * (0.25 + 0.75 * smooth)[:, None]

    quieter = 0.71317 * recorded("plain-wire", 37.4)  # no round peak
    wet = judged_path(gated(quieter), "gated")
    dry = judged_path(quieter + 1e-7 * np.random.default_rng(3).standard_normal(quieter.shape), "off")
    assert abs(wet[0].alignment.gain_db - dry[0].alignment.gain_db) > 1
    assert codes(judge_pair(wet, dry)) == set()
    turned_down = 10 ** (-4.3 / 20) / 0.71317  # a path of round gain: both peak at -5.3 dBFS
    wet, dry = (judged_path(turned_down * x, "round") for x in (gated(quieter), quieter))
    assert "normalised" not in codes(judge_pair(wet, dry))
    at_unity = faults.normalise(gated(quieter), peak_dbfs=-2.0)  # the stimulus's own peak: a path of gain 1
    assert "normalised" not in codes(judged_path(at_unity, "gated")[1])


def test_a_stage_that_leaves_the_loudest_half_wave_alone_is_not_normalised():
    quieter = 0.71317 * recorded("plain-wire", 37.4)
    noise = 1e-5 * np.random.default_rng(3).standard_normal((2, *quieter.shape))
    dry = judged_path(quieter + noise[0], "off")
    wet = judged_path(np.where(quieter < 0, 0.5 * quieter, quieter) + noise[1], "rectifying")
    assert "normalised" not in codes(judge_pair(wet, dry))
