from functools import cache

import numpy as np
import pytest
from judged_captures import RATE, STAGES, clean_once, placed, told
from scipy import ndimage, signal

from charprobe.measuring.health.path.clock_scatter import check_clock_scatter


@cache
def finer(stage):
    """A spline through four times as many samples of a clean capture, so that treble keeps its level."""
    capture = clean_once(stage)[:, 0]
    return ndimage.spline_filter(signal.resample(capture, 4 * capture.size), order=5)


def scattered(stage, rng, *, seconds):
    """A clean capture, every sample read at a moment of its own."""
    count = clean_once(stage).shape[0]
    place = 4 * np.clip(np.arange(count) + rng.normal(0, seconds * RATE, count), 0, count - 1)
    return ndimage.map_coordinates(finer(stage), place[None], order=5, prefilter=False)[:, None]


@pytest.mark.parametrize("nanoseconds", [5.0, 30.0])
@pytest.mark.parametrize("stage", ["plain-wire", "feedforward-rms-hard"])
def test_a_clock_whose_edges_scatter_is_told_with_its_size(stage, nanoseconds, rng):
    (item,) = check_clock_scatter(placed(scattered(stage, rng, seconds=1e-9 * nanoseconds)))
    found_ns = float(item.message.split("scatter by ")[1].split(" ns")[0])
    # some 40 000 values, of which a window leaves a third: 1 %, and rounding to 1 ns
    assert item.code == "clock-drift" and abs(found_ns - nanoseconds) < 0.05 * nanoseconds + 0.5


def test_the_judge_tells_it_too(rng):
    assert "edges scatter" in told(scattered("odd-colour", rng, seconds=1e-8))["clock-drift"]


@pytest.mark.parametrize("stage", STAGES)
def test_noise_that_is_always_there_or_follows_the_gain_is_not_told(stage, rng):
    capture = clean_once(stage)
    hissing_cell = capture * (1 + 1e-4 * rng.normal(0, 1, capture.shape))
    for sound in (capture, capture + rng.normal(0, 1e-4, capture.shape), hissing_cell):
        assert check_clock_scatter(placed(sound)) == []
