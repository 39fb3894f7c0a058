import numpy as np
from static_curves import curve_of, soft

from charprobe.estimators.static.passes import surest_difference
from charprobe.estimators.static.readings import read_static_curve


def test_hysteresis_is_found_and_its_absence_covered(rng):
    none = read_static_curve(curve_of(soft, rng)).hysteresis
    assert none.low <= 0 <= none.high
    some = read_static_curve(curve_of(soft, rng, hysteresis_db=-0.3)).hysteresis
    assert some.low <= -0.3 <= some.high
    # chosen among 40 pairs, the interval holds for all at once: nearly always 0 inside when there is none
    covered = [surest_difference(rng.normal(0, 1, 40).tolist(), [1.0] * 40) for _ in range(200)]
    assert np.mean([q.low <= 0 <= q.high for q in covered]) > 0.9  # 95 % less 3 sigma of 200 draws
