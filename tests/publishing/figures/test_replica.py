import dataclasses

import numpy as np
from made_profiles import B, made_profile

from charprobe.profile.entry import Table
from charprobe.publishing.figures.look.style import ARTICLE_LOOK
from charprobe.publishing.figures.replica import draw_replica, plot_replica
from charprobe.replica.fitting.into_profile import with_proof
from charprobe.replica.fitting.pair import Noise, Sides
from charprobe.replica.fitting.proof import compare


def test_both_gains_are_drawn_and_pauses_are_left_open(axes):
    table = Table(
        {"time_s": [0.0, 0.01, 0.5], "measured_db": [-1.0, -2.0, -3.0], "predicted_db": [-1.1, -2.0, -2.9]},
        {"time_s": "s", "measured_db": "dB", "predicted_db": "dB"},
    )
    plot_replica(dataclasses.replace(made_profile(B), curves={"replica_gain": table}), axes)
    measured, predicted = (line.get_ydata() for line in axes.lines[:2])
    np.testing.assert_array_equal(measured, [-1.0, -2.0, np.nan])
    np.testing.assert_array_equal(predicted, [-1.1, -2.0, np.nan])
    assert axes.get_ylabel() == "gain (dB)"


def test_a_proof_enters_the_profile_with_its_curve_and_its_interval(rng):
    dry = 0.1 * rng.standard_normal(96_000)
    proved = compare(
        Sides(dry, 0.5 * dry), 0.505 * dry, rate_hz=48_000, noise=Noise(1e-6, 1e-6), material="noise"
    )
    profile = with_proof(made_profile(B), proved, sentence="A gain.")
    assert abs(profile["replica.residual"].value + 40) < 1e-6
    assert abs(profile["replica.gain_error"].value - 20 * np.log10(1.01)) < 1e-6
    assert profile.curve("replica_gain")["time_s"].size == proved.gains.time_s.size
    assert profile.findings[-1] == "A gain."
    assert "gain error 0.086" in draw_replica(profile, ARTICLE_LOOK).alt  # 20 log10(1.01)
    without = with_proof(made_profile(B), None, sentence="A gain.")
    assert "programme" in without["replica.residual"].reason
