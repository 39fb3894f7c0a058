"""How far a number may be off: what the instrument is judged by on simulated devices."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Goal:
    """Allowed error: the larger of `absolute` (in the quantity's unit) and `relative` times the truth.

    `samples` is added to the absolute part once per sampling period, for times.
    """

    absolute: float = 0.0
    relative: float = 0.0
    samples: float = 0.0

    def allowed(self, truth: float, *, rate_hz: float) -> float:
        """Allowed error at a true value."""
        return max(self.absolute, self.relative * abs(truth), self.samples / rate_hz)


_ATTACK, _RELEASE, _HARMONIC = Goal(relative=0.02, samples=1), Goal(relative=0.01), Goal(absolute=0.1)
GOALS: dict[str, Goal] = {
    "static.points": Goal(absolute=0.01),
    "static.threshold": Goal(absolute=0.1),
    "static.threshold_1db": Goal(absolute=0.05),
    "static.slope": Goal(absolute=0.003),
    "static.knee_width": Goal(absolute=0.5),
    "static.low_level_gain": Goal(absolute=0.01),
    "static.makeup_gain": Goal(absolute=0.01),
    "attack.t50": _ATTACK,
    "attack.t63": _ATTACK,
    "attack.t90": _ATTACK,
    "attack.lookahead": Goal(samples=2),
    "release.t50": _RELEASE,
    "release.t63": _RELEASE,
    "release.t90": _RELEASE,
    "release.hold": Goal(samples=2, relative=0.02),
    "release.stages": Goal(absolute=0.0),
    "release.tau_1": Goal(relative=0.05),
    "release.tau_2": Goal(relative=0.05),
    "release.tau_1_share": Goal(absolute=5.0),
    "colour.thd_at_reference": _HARMONIC,
    **{f"colour.h{n}_at_reference": _HARMONIC for n in range(2, 11)},
    "colour.input_at_thd_minus60db": Goal(absolute=0.2),
    "colour.input_at_thd_minus40db": Goal(absolute=0.2),
    "response.low_corner": Goal(relative=0.02),
    "response.high_corner": Goal(relative=0.02),
    "response.shelf_gain": Goal(absolute=0.05),
    "response.shelf_corner": Goal(relative=0.02),
    "path.latency": Goal(samples=0.02),
    "noise.unweighted": Goal(absolute=0.1),
    "detector.low_cut": Goal(relative=0.1),
}
