"""The width of a knee, down to knees narrower than the steps can show."""

from __future__ import annotations

from charprobe.estimators.static.bends import MAX_WIDTH_DB, BendsFit, fit_bends
from charprobe.estimators.static.curve import StaticCurve
from charprobe.values.quantity import Z95, Quantity


def knee_width(curve: StaticCurve, fit: BendsFit, bend: int) -> Quantity:
    """Read the width of one knee in dB on the input axis.

    Parameters
    ----------
    curve : StaticCurve
        Its points in use.
    fit : BendsFit
        The curve that holds for them.
    bend : int
        Which bend.

    Notes
    -----
    A wide knee has the interval of the fit's covariance. For one that may be hard, the interval is
    that of the profile likelihood: all widths whose best fit raises chi squared by less than 3.84;
    the value is 0 where a hard knee does so by less than 1.
    """
    unit = "dB"
    index = fit.shape.first(bend) + 1
    value, std = float(fit.parameters[index]), float(fit.covariance[index, index]) ** 0.5
    at_zero = _profile(curve, fit, bend, 0.0)
    if at_zero > 0 and value > 4 * std > 0:
        return Quantity.from_std(value, std, unit)
    low = 0.0 if at_zero <= 0 else max(0.0, value - Z95 * std)
    wide = _widest(curve, fit, bend, value)
    return Quantity(0.0 if at_zero < 1 - Z95**2 else value, low, wide, unit)  # 0: no width calls for itself


def _profile(curve: StaticCurve, fit: BendsFit, bend: int, width_db: float) -> float:
    """Rise of chi squared with a knee held at a width, less the rise that a 95 % interval allows."""
    level, gain, std = curve.used
    index, start = fit.shape.first(bend) + 1, fit.parameters.copy()
    start[index] = width_db
    held = fit_bends(level, gain, std=std, shape=fit.shape, start=start, fixed=(index,))
    return (held.chi2 - fit.chi2) / fit.dispersion - Z95**2


def _widest(curve: StaticCurve, fit: BendsFit, bend: int, value: float) -> float:
    inside, outside = value, max(1.0, 2 * value)
    while _profile(curve, fit, bend, outside) < 0 and outside < MAX_WIDTH_DB:
        inside, outside = outside, 2 * outside
    for _ in range(6):
        middle = (inside + outside) / 2
        if _profile(curve, fit, bend, middle) < 0:
            inside = middle
        else:
            outside = middle
    return outside
