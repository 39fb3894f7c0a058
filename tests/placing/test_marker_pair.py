import pytest
from played import capture, recorded, short_stimulus

from charprobe.placing.marker_pair import UNKNOWN_DRIFT, MarkerPair
from charprobe.placing.track import Track

STIMULUS = short_stimulus()
START = STIMULUS.opening.start
DISTANCE = STIMULUS.closing.start - START


def pair_of(rng, *, delay, drift_ppm, gain=1.0):
    samples = recorded(STIMULUS, delay=delay, drift_ppm=drift_ppm, gain=gain, noise=rng)
    first = round(delay + START * (1 + 1e-6 * drift_ppm))
    last = round(first + DISTANCE * (1 + 1e-6 * drift_ppm))
    return Track(capture(samples), 0, STIMULUS), MarkerPair(float(first), float(last), DISTANCE)


def test_both_markers_show_the_clock_they_are_measured_with(rng):
    track, rough = pair_of(rng, delay=700.3, drift_ppm=41.0, gain=-0.5)
    pair = rough.on_own_clock(track)
    assert pair.first == pytest.approx(700.3 + START * (1 + 41e-6), abs=1e-3)
    assert (pair.last - pair.first) / DISTANCE == pytest.approx(1 + 41e-6, abs=1e-9)
    assert pair.drift_ppm.low <= 41.0 <= pair.drift_ppm.high
    assert pair.polarity == -1
    assert pair.gain_db == pytest.approx(STIMULUS.recipe.sync_dbfs - 6.02, abs=0.01)


def test_the_clock_of_the_tones_turns_a_wrong_length_into_a_jump(rng):
    track, rough = pair_of(rng, delay=700.3, drift_ppm=0.0)
    agreed = rough.on_own_clock(track).against_tones(track)
    assert agreed.jump is None
    assert agreed.drift_ppm != UNKNOWN_DRIFT
