"""Which curve the points call for: models compared by evidence, and by whether the difference matters."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from charprobe.estimators.fitting import aicc
from charprobe.estimators.static.bend_search import add_bend, from_hinges, with_output_knee
from charprobe.estimators.static.bends import BendsFit, Shape, fit_bends
from charprobe.values.arrays import Array
from charprobe.values.quantity import Z95

EVIDENCE = 10.0  # corrected AIC must fall by this for one more bend or a slope: odds of 150 to 1
MATTERS_DB = 0.03  # and the curve must move by this somewhere among the points
STRAIGHT_DB = 2.0  # two bends are told apart by a straight section at least this long between them
LEAST_CHANGE = 0.015  # smallest change of slope that counts as a bend, and smallest slope at the lowest steps
HOLDS_DB = 0.05  # a model that misses the points by more (rms, beyond their uncertainty) does not hold
PLAIN = 4.0  # a knee on the output axis must fit better by this than one on the input axis
MOST_BENDS = 3
FEWEST_FLAT = 3  # levels that a flat section below the first corner must hold, or it is no flat section
MISSES = 4.0  # standard deviations of chi squared beyond which a curve misses the points by its shape
RIVAL = 4.0  # times its chi squared up to which a curve with the other knee stands for what it may be off by
STRETCHES = 10  # of levels, left out one after the other to see what a curve that misses them hangs on
FAMILIES = 3  # of the curves with one bend less, so many are given another


@dataclass(frozen=True)
class CurveChoice:
    """The chosen curve and whether it holds.

    Attributes
    ----------
    fit : BendsFit
        The chosen model.
    misfit_db : float
        Root mean square of what the model misses beyond the uncertainty of the points.
    holds : bool
        Whether that is small enough for its parameters to mean something.
    """

    fit: BendsFit
    misfit_db: float
    holds: bool


def choose_curve(level: Array, gain: Array, *, std: Array) -> CurveChoice:
    """Choose among a constant, a line and up to three bends by corrected AIC.

    Parameters
    ----------
    level, gain, std : ndarray, shape (n,)
        Input levels in dBFS, gains and their standard uncertainties in dB; n at least 4.

    Returns
    -------
    CurveChoice

    Notes
    -----
    Bends are added one at a time, at either side, as long as the corrected Akaike criterion (for
    overdispersed data: residuals scaled by those of the best model of that many bends) falls by `EVIDENCE`,
    the curve moves by `MATTERS_DB` somewhere, and bends stay `STRAIGHT_DB` apart, but for those between
    which a gate falls to its floor. Widths are free down to zero, so a hard knee is a soft one whose width
    interval reaches zero. Where the chosen curve misses the points by more than their uncertainties, its
    unknowns depend on where one looks: what they move by when one stretch of levels after the other is left
    out (jackknife) is added to their covariance, and so is how a curve differs whose knee is a parabola on
    the other axis, if it misses them by less than twice as much: a few steps within a knee do not tell
    which it is.
    """
    flat = fit_bends(level, gain, std=std, shape=Shape(False, ()), start=np.array([gain.mean()]))
    line = fit_bends(level, gain, std=std, shape=Shape(True, ()), start=np.array([gain.mean(), 0.0]))
    chosen, generation = _best([flat, line], flat, level, 1.0), [flat, line]
    for bends in range(1, MOST_BENDS + 1):
        if level.size < 3 * bends + 6 or _explained(chosen):
            break
        generation = _grown(generation, level, gain, std)
        richest = min(fit.chi2 / max(1, fit.dof) for fit in generation)
        chosen = _best(generation, chosen, level, max(1.0, richest))
    chosen = _from_below(chosen, level, gain, std)
    misfit = _misfit(chosen, level, gain, std)
    return CurveChoice(_allowing_for_misfit(chosen, level, gain, std), misfit, misfit <= HOLDS_DB)


def _best(candidates: list[BendsFit], chosen: BendsFit, level: Array, dispersion: float) -> BendsFit:
    """Return the best admissible candidate, or what was chosen before if none is clearly better."""

    def rank(fit: BendsFit) -> float:
        """Criterion, the plainer first of two that fit alike: input knees, and a flat section."""
        return _criterion(fit, dispersion) + PLAIN * fit.shape.output_knee + EVIDENCE * fit.shape.sloped

    for fit in sorted(candidates, key=rank):
        gained = _criterion(chosen, dispersion) - _criterion(fit, dispersion)
        if gained > EVIDENCE and _matters(chosen, fit, level) and _admissible(fit, level):
            return fit
    return chosen


def _from_below(fit: BendsFit, level: Array, gain: Array, std: Array) -> BendsFit:
    """The same curve from its lowest section on, where that is flat and no shorter than the one it falls to.

    A gain that falls from one flat section to another may be reduced by so much and no more, or lifted by so
    much: the steps do not tell, and it rests where it stays for longer, if in doubt at low levels.
    """
    low, rest = float(level.min()), fit.shape.facing[2:]
    drop_db = float(fit.gain(np.array([low]))[0] - fit.parameters[0])
    if fit.shape.sloped or fit.shape.facing[:2] != (-1, -1) or -1 in rest or drop_db < MATTERS_DB:
        return fit
    flat = fit.sections[2]
    if fit.sections[0].end - low < min(flat.end, float(level.max())) - flat.begin:
        return fit
    (first, first_width, _), (second, second_width, change) = fit.corner(0), fit.corner(1)
    shape = Shape(False, (1, 1, *rest))
    head = [fit.parameters[0] + drop_db, first, first_width, -change, second, second_width, change]
    start = np.array([*head, *fit.parameters[fit.shape.first(2) :]])
    other = fit_bends(level, gain, std=std, shape=shape, start=start)
    as_good = other.chi2 <= fit.chi2 + max(1.0, fit.dispersion) * EVIDENCE / 2
    flat_again = abs(other.sections[2].slope) < max(LEAST_CHANGE, Z95 * other.sections[2].std)
    return other if as_good and flat_again and _admissible(other, level) else fit


def _explained(fit: BendsFit) -> bool:
    """Whether the residuals are no larger than the points' own uncertainties lead to expect."""
    return fit.chi2 <= fit.dof + 2 * math.sqrt(2 * fit.dof)


def _grown(parents: list[BendsFit], level: Array, gain: Array, std: Array) -> list[BendsFit]:
    """Return the best parents with one bend more; of children with one shape only the best is kept."""
    best: dict[Shape, BendsFit] = {}
    for parent in sorted(parents, key=lambda fit: fit.chi2)[:FAMILIES]:
        for facing in (1, -1):
            if parent.shape.sloped and facing < 0:
                continue  # a line with a bend to the left is one with a bend to the right
            children = [add_bend(level, gain, std=std, base=parent, facing=facing)]
            shape = Shape(parent.shape.sloped, children[0].shape.facing)
            if shape not in best:
                children.append(from_hinges(level, gain, std=std, shape=shape))
            if 1 in shape.facing:
                plain = min(children, key=lambda fit: (fit.shape.output_knee, fit.chi2))
                children.append(with_output_knee(level, gain, std=std, base=plain))
            for child in children:
                known = best.get(child.shape)
                if known is None or child.chi2 < known.chi2:
                    best[child.shape] = child
    return list(best.values())


def _criterion(fit: BendsFit, dispersion: float) -> float:
    n, k = fit.dof + fit.shape.size, fit.shape.size
    return aicc(fit.chi2 / dispersion, points=n, unknowns=k)


def _matters(simple: BendsFit, rich: BendsFit, level: Array) -> bool:
    return float(np.max(np.abs(simple.gain(level) - rich.gain(level)))) > MATTERS_DB


def _admissible(fit: BendsFit, level: Array) -> bool:
    """Whether the bends lie among the points, apart from each other, and each changes the slope."""
    bends = [fit.corner(j) for j in range(len(fit.shape.facing))]
    inside = all(
        level.min() < corner < level.max() and abs(change) > LEAST_CHANGE for corner, _, change in bends
    )
    apart = all(
        section.end - section.begin >= (0.0 if _to_a_floor(fit, j) else STRAIGHT_DB)
        for j, section in enumerate(fit.sections[1:-1])
    )
    if fit.shape.facing[:1] == (1,) and not fit.shape.sloped:
        levels = np.unique(np.round(level, 1))
        inside = inside and int(np.sum(levels < bends[0][0])) >= FEWEST_FLAT
    if fit.shape.sloped and bends:  # the sloped section must be long enough to show its slope
        first = fit.sections[0]
        drop = abs(first.slope) * (min(first.end, float(level.max())) - float(level.min()))
        shows = drop > MATTERS_DB and abs(first.slope) > max(LEAST_CHANGE, 4 * first.std)
        return inside and apart and shows
    return inside and apart


def _to_a_floor(fit: BendsFit, bend: int) -> bool:
    """Whether a bend and the next, both below the flat section, turn against each other: a gate's floor."""
    (_, _, one), (_, _, other) = fit.corner(bend), fit.corner(bend + 1)
    return fit.shape.facing[bend : bend + 2] == (-1, -1) and one * other < 0


def _allowing_for_misfit(fit: BendsFit, level: Array, gain: Array, std: Array) -> BendsFit:
    """Add to the covariance what the unknowns hang on where points are missed: stretches, kind of knee."""
    if fit.chi2 <= fit.dof + MISSES * math.sqrt(2 * fit.dof):
        return fit
    levels = np.unique(np.round(level, 1))
    moved = []
    for stretch in np.array_split(levels, min(STRETCHES, levels.size // 2)):
        kept = (level < stretch[0] - 0.05) | (level > stretch[-1] + 0.05)
        if np.count_nonzero(kept) > fit.shape.size:
            part = fit_bends(level[kept], gain[kept], std=std[kept], shape=fit.shape, start=fit.parameters)
            unknowns = part.parameters.copy()
            if fit.shape.sloped:
                unknowns[0] += unknowns[1] * (fit.origin - part.origin)
            moved.append(unknowns - fit.parameters)
    covariance = fit.covariance
    if moved:
        apart = np.array(moved)
        covariance = covariance + (1 - 1 / len(moved)) * apart.T @ apart
    if 1 in fit.shape.facing:
        shape = replace(fit.shape, output_knee=not fit.shape.output_knee)
        other = fit_bends(level, gain, std=std, shape=shape, start=fit.parameters)
        if other.chi2 < RIVAL * fit.chi2:
            by = (other.parameters - fit.parameters) / Z95
            covariance = covariance + np.outer(by, by)
    return replace(fit, covariance=covariance)


def _misfit(fit: BendsFit, level: Array, gain: Array, std: Array) -> float:
    """Rms of the residuals beyond what the points' own uncertainties explain, in dB."""
    weight = 1 / std**2
    residual = gain - fit.gain(level)
    excess = float(np.sum(residual**2 * weight) - fit.dof) / float(weight.sum())
    return float(np.sqrt(max(0.0, excess)))
