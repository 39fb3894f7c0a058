import math

import numpy as np
import pytest

from tests.simulation.drawn import build_compressor, draw_compressor, draw_rig, draw_shaper, draw_shelf

RATE = 48_000.0


def test_drawn_compressors_fill_their_ranges(rng):
    drawn = [draw_compressor(rng) for _ in range(300)]
    bends = [stage.bends[0] for stage in drawn]
    assert all(-45 <= bend.threshold_dbfs <= -6 and 0 <= bend.knee_db <= 20 for bend in bends)
    assert all(1e-4 <= stage.attack_s <= 0.05 and 0.03 <= stage.release_s <= 3 for stage in drawn)
    assert any(bend.slope == 1 for bend in bends)
    assert any(bend.knee_db == 0 for bend in bends)
    assert min(bend.slope for bend in bends) == pytest.approx(1 / 6, abs=0.02)  # of 300 even draws


def test_same_generator_state_draws_the_same():
    first, second = (draw_compressor(np.random.default_rng(5)) for _ in range(2))
    assert first == second


def test_built_compressor_states_what_it_was_built_with():
    truth = build_compressor(
        threshold_dbfs=-20, ratio=5, attack_s=0.01, release_s=0.2, knee_db=4, makeup_db=2
    ).truth
    assert truth["static.threshold"].value == -20
    assert truth["static.ratio"].value == pytest.approx(5)
    assert truth["static.knee_width"].value == 4
    assert truth["attack.t63"].value == pytest.approx(0.01)


def test_limiter_has_slope_0_and_no_ratio():
    truth = build_compressor(threshold_dbfs=-20, ratio=math.inf, attack_s=0.01, release_s=0.2).truth
    assert truth["static.slope"].value == 0
    assert "static.ratio" not in truth


def test_drawn_shaper_and_shelf_state_their_truth(rng):
    for _ in range(20):
        assert -120 < draw_shaper(rng).truth["colour.thd_at_reference"].value < -20
        shelf = draw_shelf(rng)
        corner = np.array([shelf.truth["response.shelf_corner"].value])
        gain_db = 20 * np.log10(abs(shelf.response(corner)[0]))
        assert gain_db == pytest.approx(shelf.truth["response.shelf_gain"].value / 2, abs=1e-9)


def test_drawn_rig_records(rng):
    capture = draw_rig(rng).record(np.zeros(4800), rate_hz=RATE, rng=rng)
    assert np.isfinite(capture).all()
