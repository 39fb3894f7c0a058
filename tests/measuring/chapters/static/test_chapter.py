"""The static chapter on simulated stages with closed-form curves, through the simulated rig."""

from dataclasses import replace

import numpy as np
import pytest
from static_chapters import PATH_DB, STEPS, codes, measured, on_steps
from taken import column, reading, take_of, wire

from charprobe.measuring.chapters.static.chapter import NAMES, static_chapter
from charprobe.profile import glossary
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.stimulus.kinds.steady import Silence
from charprobe.values.quantity import Quantity, Unmeasured


@pytest.mark.parametrize("name", ["smooth-gain-hard", "smooth-gain-soft", "feedback-hard"])
def test_named_stages_are_recovered(name):
    stage, chapter, _ = on_steps(name)
    tolerances = {  # those the finished tool is judged by; a knee is told to a fifth of a step
        "static.threshold": 0.05,
        "static.threshold_1db": 0.05,
        "static.makeup_gain": 0.01,
        "static.low_level_gain": 0.01,
        "static.slope": 0.003,
        "static.knee_width": 0.4,
    }
    for key, tolerance in tolerances.items():
        truth = stage.truth[key].value + (PATH_DB if stage.truth[key].unit == "dBFS" else 0.0)
        found = reading(chapter, key)
        assert isinstance(found, Quantity), key
        assert abs(found.value - truth) <= tolerance, key
    assert reading(chapter, "static.ratio").value == pytest.approx(
        stage.truth["static.ratio"].value, rel=0.01
    )


def test_settled_points_equal_the_stages_own_curve():
    stage, chapter, curve = on_steps("smooth-gain-soft")
    settled = column(chapter, "static", "settled")
    level, gain = column(chapter, "static", "input_dbfs"), column(chapter, "static", "gain_db")
    truth = stage.static_gain_db(level - PATH_DB)
    assert np.abs(gain - truth)[settled].max() < 0.01
    assert settled.sum() > 30
    found = curve.reduction_db_at(-15.0)
    at = np.array([-15.0 - PATH_DB, -80.0])
    assert found == pytest.approx(-np.diff(stage.static_gain_db(at)[::-1])[0], abs=0.01)


def test_every_quantity_is_given_and_defined():
    for name in ("plain-wire", "noise-gate", "odd-colour"):
        _, chapter, _ = on_steps(name)
        assert set(NAMES) <= set(chapter.quantities)
        for key, entry in chapter.quantities.items():
            assert glossary.term(key).unit == entry.reading.unit


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("plain-wire", "never-compresses"),
        ("noise-gate", "expander"),
        ("upward-lift", "upward-compression"),
        ("two-bend", "second-bend"),
        ("odd-colour", "output-saturated"),
    ],
)
def test_shapes_are_named(name, code):
    _, chapter, _ = on_steps(name)
    assert code in codes(chapter)


def test_an_unsettled_pass_is_a_note_where_the_other_stands():
    _, chapter, _ = on_steps("feedback-soft")
    (item,) = [item for item in chapter.health if item.code == "unsettled"]
    assert item.severity == "note"
    assert "falling pass" in item.message
    assert item.start_s < item.end_s


def test_steps_too_short_for_a_slow_cell_give_no_curve_rather_than_a_wrong_one():
    # half of the cell's recovery takes seconds: what the steps extrapolate to is 2 dB off its own curve
    _, chapter, curve = on_steps("optical-leveller")
    assert "unsettled" in codes(chapter)
    for name in ("static.threshold", "static.slope", "static.ratio", "static.max_reduction"):
        assert "had settled" in reading(chapter, name).reason
    assert curve.reduction_db_at(-10.0) is None
    found = reading(chapter, "static.makeup_gain")  # below its threshold it does settle
    assert found.value == pytest.approx(
        make_stage("optical-leveller").truth["static.makeup_gain"].value, abs=0.01
    )


def test_a_recipe_without_level_steps_gives_reasons(rng):
    take = take_of([Silence("idle", 0.5)], wire, rng=rng)
    chapter, curve = static_chapter(take, take)
    assert curve is None
    assert set(chapter.quantities) == set(NAMES)
    assert all("no level_steps segment" in entry.reading.reason for entry in chapter.quantities.values())


def test_other_frequencies_stand_in_a_curve_of_their_own(rng):
    short = [
        replace(STEPS[0], falling=False, step_db=4.0),
        replace(STEPS[0], name="low", frequency_hz=83.0, step_db=4.0),
    ]
    _, chapter, _ = measured("smooth-gain-hard", rng, segments=short)
    assert set(column(chapter, "static", "frequency_hz")) == {997.0}
    assert set(column(chapter, "static_over_frequency", "frequency_hz")) == {83.0}
    assert isinstance(reading(chapter, "static.hysteresis"), Unmeasured)
