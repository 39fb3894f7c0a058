"""The self-test recovers its stages, and a broken truth makes it fail."""

import dataclasses

import numpy as np

from charprobe.publishing.report.truth_row import TruthRow
from charprobe.rehearsal.selftest import RIG, played_truth, recover, rows_text, run_selftest
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.quantity import Quantity, Unmeasured


def test_stages_are_recovered_and_the_table_says_so():
    seen = []
    names = ("smooth-gain-soft", "exact-colour")
    rows = run_selftest(names, load_recipe("quick"), rate_hz=48_000, jobs=2, progress=seen.append)
    assert seen == list(names)
    assert {row.verdict for row in rows} <= {"good", "bound holds", "no number"}
    assert sum(row.verdict == "good" for row in rows) > 15
    text = rows_text(rows)
    assert "smooth-gain-soft" in text and "static.threshold" in text and "0 off" in text
    broken = [
        dataclasses.replace(row, truth=row.truth + 2 * row.allowed + 1)
        for row in rows
        if row.error is not None
    ]
    assert {row.verdict for row in broken} == {"off"}


def test_verdicts_of_bounds():
    bound = Unmeasured("s", "too short", "longer", at_least=1.0)
    assert TruthRow("x", "release.t63", 2.0, "s", bound, 0.1).verdict == "bound holds"
    assert TruthRow("x", "release.t63", 0.5, "s", bound, 0.1).verdict == "bound wrong"
    assert TruthRow("x", "release.t63", 0.5, "s", Unmeasured("s", "no", "yes"), 0.1).verdict == "no number"


def test_an_interval_covers_what_the_truth_is_known_to():
    reading = Quantity.from_std(1.0, 0.1, "s")
    assert TruthRow("x", "attack.t63", 1.3, "s", reading, 1.0).covered is False
    assert TruthRow("x", "attack.t63", 1.3, "s", reading, 1.0, within=0.2).covered is True


def test_a_stage_that_only_saturates_gets_no_times():
    stimulus = lay_out(load_recipe("quick"), rate_hz=48_000, take=1)
    profile = recover(make_stage("odd-colour"), stimulus, rig=RIG, seed=3).profile
    for name in ("attack.t63", "release.t63"):
        assert "saturation" in profile.quantities[name].reading.reason
    assert profile.quantities["colour.h3_at_reference"].reading.value < 0


def test_the_share_of_a_fast_stage_is_that_after_the_bursts_played():
    stage = make_stage("two-stage-release")
    quick = load_recipe("quick")
    bursts = next(spec for spec in quick.segments if isinstance(spec, Bursts) and spec.reference)
    rested = dataclasses.replace(bursts, lead_s=1.0, release_s=9.0)  # ten times the slow constant
    stimulus = lay_out(dataclasses.replace(quick, segments=(rested,)), rate_hz=48_000, take=0)
    played = render(stimulus)
    gain_db = stage.process(played, rate_hz=48_000, rng=np.random.default_rng(0)).gain_db
    found = played_truth(stage, stimulus, played=played, gain_db=gain_db)["release.tau_1_share"]
    store = stage.slow_store
    filled = store.share * (1 - np.exp(-bursts.hold_s / store.charge_s))
    # the attack of 6 ms takes up to as much off the time of filling: 0.4 %; the detector falls for 1 ms more
    assert abs(found.value - 100 * (1 - filled)) < 1.0
    assert found.within < 0.1
    assert abs(found.value - stage.truth["release.tau_1_share"].value) > 15
