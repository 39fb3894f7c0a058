import dataclasses
import math

import numpy as np
import pytest
from designs import bursts_in, profile_with

from charprobe.profile.entry import Entry, Table
from charprobe.stimulus.design import design_stimulus
from charprobe.values.quantity import Quantity, Unmeasured


def test_gaps_are_six_time_constants_of_the_measured_release():
    t90 = 0.9
    design = design_stimulus(profile_with(release__t90=Quantity.from_std(t90, 0.001, "s")), longest_s=600)
    for spec in bursts_in(design):
        assert spec.release_s >= 6 * t90 / math.log(10)


def test_a_release_known_only_as_a_bound_gets_four_times_the_gap():
    bound = Unmeasured("s", "unfinished", "longer", at_least=1.5)
    design = design_stimulus(profile_with(release__t90=bound), longest_s=900)
    assert bursts_in(design)[0].release_s >= 6 * 4 * 1.5 / math.log(10)
    assert any("at least 1.5 s" in reason for reason in design.reasons)


@pytest.mark.parametrize("tau_s", [0.4, 1.5])
def test_the_end_of_an_unfinished_release_foretells_its_rest(tau_s):
    profile = profile_with(release__t90=Unmeasured("s", "any words", "any", at_least=0.6, cause="short-gaps"))
    time_s = np.concatenate([np.linspace(-0.1, -0.01, 10), np.geomspace(0.001, 0.6, 60)])
    gain_db = np.where(time_s < 0, -12.0, -12 * np.exp(-time_s / tau_s))
    trace = Table(
        {"step": [0] * 70, "edge": ["release"] * 70, "time_s": time_s.tolist(), "gain_db": gain_db.tolist(),
         "std_db": [0.001] * 70},
        {"step": "", "edge": "", "time_s": "s", "gain_db": "dB", "std_db": "dB"},
    )  # fmt: skip
    profile = dataclasses.replace(profile, curves={**profile.curves, "gain_trace": trace})
    rest = dict(profile.quantities) | {"static.low_level_gain": Entry(Quantity.from_std(0.0, 1e-3, "dB"), "")}
    spec = bursts_in(design_stimulus(dataclasses.replace(profile, quantities=rest), longest_s=900))[0]
    # at rest means 0.02 dB of 12 dB left; not much longer either
    assert tau_s * np.log(12 / 0.02) <= spec.release_s <= 1.5 * tau_s * np.log(12 / 0.02)
