"""Static curves of points with known noise, from reductions in closed form."""

import numpy as np
from bent_curves import knee

from charprobe.estimators.static.curve_fit import fit_static_curve
from charprobe.estimators.static.points import StaticPoint

LEVEL = np.arange(-60.0, -1.0, 1.5)


SIGMA_DB = 0.002


def curve_of(reduction, rng, *, makeup_db=4.0, hysteresis_db=0.0, sigma_db=SIGMA_DB, level=LEVEL):
    points = []
    for direction, offset in (("rising", 0.0), ("falling", hysteresis_db)):
        gain = makeup_db - reduction(level) + offset + rng.normal(0, sigma_db, level.size)
        rows = zip(level, level + gain, strict=True)
        points += [StaticPoint(x, y, sigma_db, direction, True, 0.0, 0.0) for x, y in rows]
    return fit_static_curve(points, axis_std_db=0.0)


def soft(level):
    return 0.75 * knee(level + 24.0, 6.0)
