from static_curves import curve_of, knee

from charprobe.estimators.static.readings import read_static_curve
from charprobe.values.quantity import Quantity


def test_a_hard_knee_is_bounded_not_measured_as_a_width(rng):
    read = read_static_curve(curve_of(lambda level: 0.75 * knee(level + 24.3, 0.0), rng))
    assert isinstance(read.knee_width, Quantity)
    assert read.knee_width.low == 0
    assert read.knee_width.high < 1.5  # steps of 1.5 dB
    assert abs(read.threshold.value + 24.3) < 4 * read.threshold.std
