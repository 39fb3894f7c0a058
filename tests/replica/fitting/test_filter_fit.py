"""What a sweep shows of a stage whose threshold lies below it."""

import numpy as np
import pytest

from charprobe.files.sound.source import MemoryCapture
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.replica.fitting.filter_fit import FLAT_DB, fit_filter
from charprobe.replica.fitting.heard import Memory
from charprobe.replica.fitting.pair import Pair
from charprobe.replica.fitting.stretches import stretches_of
from charprobe.replica.parts import Bend, Cell, Detector, Smoothing
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render
from tests.simulation.drawn import build_compressor

RATE = 44_100
SEGMENTS = (
    Sweep("response", 10.0, 22_000.0, 1.5, -40.0),
    LevelSteps("steps", 997.0, -59.0, -47.0, 6.0, 0.1),
)
STIMULUS = lay_out(Recipe("swept", "a sweep ahead of level steps", SEGMENTS), rate_hz=RATE, take=1)
TRUE = {"threshold_dbfs": -48.0, "ratio": 5.0, "attack_s": 0.003, "release_s": 1.2}
CELL = Cell(Detector("envelope"), (Bend(-48.0, 0.8),), Smoothing(attack_s=0.003, release_s=1.2))


@pytest.fixture(scope="module")
def pair():
    played, rng = render(STIMULUS), np.random.default_rng(3)
    wet = build_compressor(**TRUE).process(played, rate_hz=RATE, rng=rng).samples
    sounds = (one + 1e-6 * rng.standard_normal(one.size) for one in (wet, played))
    return Pair(*(place_take(Track(MemoryCapture(one, rate_hz=RATE), 0, STIMULUS)) for one in sounds))


def test_what_a_low_threshold_does_to_the_sweep_is_no_filter(pair):
    known = fit_filter(pair, CELL)  # without the cell 0.3 dB of error
    placed = pair.wet.alignment.later_than(
        pair.dry.alignment
    ).value  # markers are turned down as they go, too
    assert known.sections == () and known.error_db < FLAT_DB
    assert known.late == pytest.approx(-placed, abs=2e-4)


def test_a_low_threshold_remembers_markers_and_sweep(pair):
    steps = next(s for s in stretches_of(pair.wet, threshold_dbfs=-np.inf) if s.name == "steps")
    sweep, ident = STIMULUS.segments[0].span, STIMULUS.ident
    starts = [Memory(0.001, release_s).start_of(steps, RATE) for release_s in (0.05, 0.3, 3.0)]
    assert sweep.start < starts[0] < steps.start
    assert starts[1] == pytest.approx(sweep.start - 0.06 * RATE)
    assert starts[2] <= ident.start - 0.06 * RATE + 1
