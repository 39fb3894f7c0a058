import numpy as np
import pytest

from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.devices.dynamics.compressor_truth import two_stage_time_s
from charprobe.simulation.stimulus_truth import true_conditions
from charprobe.stimulus.kinds.bursts import BurstLengths
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render

RATE = 48_000
LENGTHS = BurstLengths("lengths", 3989.0, 4, -45.0, -6.0, 0.1, holds_s=(0.1, 1.0), release_s=3.0)
STIMULUS = lay_out(Recipe("t", "two hold times", (LENGTHS,)), rate_hz=RATE, take=1)
PLAYED = render(STIMULUS)


def conditions(name, rng):
    stage = make_stage(name)
    gain_db = stage.process(PLAYED, rate_hz=RATE, rng=rng).gain_db
    return stage, true_conditions(stage, STIMULUS.segments[0], played=PLAYED, gain_db=gain_db, rate_hz=RATE)


@pytest.mark.parametrize("name", ["smooth-gain-hard", "held-release", "lookahead-limiter"])
def test_every_hold_of_a_plain_stage_has_the_closed_release(name, rng):
    stage, found = conditions(name, rng)
    assert [condition.hold_s for condition in found] == [0.1, 1.0]
    for condition in found:
        release = stage.truth["release.t63"]
        # read beside the delayed sound, a release begins earlier by the look-ahead
        expected = release.value - stage.truth["path.latency"].value
        assert condition.release.t63_s == pytest.approx(expected, abs=release.within)
        assert condition.attack.change_db == pytest.approx(
            stage.static_gain_db(np.array([-6.0]))[0] - stage.static_gain_db(np.array([-45.0]))[0], abs=0.01
        )  # what the gap's silence and the 0.1 s of lead leave of the release before, 3.4 s ago


def test_memory_builds_up_from_burst_to_burst(rng):
    stage, found = conditions("two-stage-release", rng)
    store = stage.slow_store
    for condition in found:
        alone = store.share * (1 - np.exp(-condition.hold_s / store.charge_s))
        rested = two_stage_time_s(1 - np.exp(-1), fast_s=0.06, slow_s=store.time_s, slow_part=alone)
        assert rested < condition.release.t63_s < 1.3 * rested  # bursts before it have left some charge


def test_unfinished_release_is_inf(rng):
    stage = make_stage("feedback-soft")
    gain_db = np.linspace(0, -5, PLAYED.size)  # never comes back
    found = true_conditions(stage, STIMULUS.segments[0], played=PLAYED, gain_db=gain_db, rate_hz=RATE)
    assert found[0].release.t90_s == np.inf
