"""Feed-forward and feedback compressors built from detector, gain computer and ballistics."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from charprobe.simulation.devices.dynamics.compressor_truth import (
    ATTACK_WITHIN_S,
    static_truth,
    timing_truth,
    two_stage_truth,
)
from charprobe.simulation.devices.parts.ballistics import Smoothing, follow, follow_two_stage
from charprobe.simulation.devices.parts.detectors import DetectorKind, sense, to_dbfs
from charprobe.simulation.devices.parts.first_order import low_cut, low_cut_gain_db, one_pole
from charprobe.simulation.devices.parts.gain_computer import Bends, reduction_db
from charprobe.simulation.devices.parts.settled import settled_gain_db
from charprobe.simulation.devices.stage import REFERENCE_HZ, StageOutput, TrueValue, amplitude, in_pieces
from charprobe.values.arrays import Array

STEADY_AVERAGING_S = 0.004  # from here on ripple moves the settled gain of a 997 Hz sine by < 0.001 dB
MEAN_EXPONENT = {"average": 1.0, "rms": 2.0}  # of the mean a smoothed rectifier takes
Placement = Literal["before log", "before computer", "after computer"]


@dataclass(frozen=True)
class SlowStore:
    """The slow half of a two-stage release, with memory: see `follow_two_stage`."""

    time_s: float
    charge_s: float
    share: float


@dataclass(frozen=True)
class Compressor:
    """A feed-forward dynamics stage; with `Bend` on the low side also an expander or an upward compressor.

    Attributes
    ----------
    bends : tuple of Bend
        Static curve on the axis of the detector's reading.
    makeup_db : float
        Gain after the reduction.
    attack_s, release_s, hold_s : float >= 0
        Time constants and dead time of the ballistics.
    detector : {"peak", "average", "rms", "envelope"}
        What is rectified; see `detectors.sense`.
    averaging_s : float >= 0
        A further one-pole on the rectified signal (amplitude, or power for RMS), before all else.
    placement : {"before log", "before computer", "after computer"}
        Where the ballistics stand: on the rectified signal, on the level in dB, or on the reduction in dB.
    form : str
        Form of the ballistics, see `ballistics.follow`.
    slow_store : SlowStore or None
        Makes the release two-stage, `release_s` being its fast half; only "after computer".
    lookahead_s : float >= 0
        The sound is delayed by this (rounded to whole samples) against the gain.
    sidechain_low_cut_hz : float or None
        First-order low cut in front of the detector.
    """

    name: str
    summary: str
    bends: Bends
    attack_s: float
    release_s: float
    makeup_db: float = 0.0
    hold_s: float = 0.0
    detector: DetectorKind = "envelope"
    averaging_s: float = 0.0
    placement: Placement = "after computer"
    form: Smoothing = "smooth branching"
    slow_store: SlowStore | None = None
    lookahead_s: float = 0.0
    sidechain_low_cut_hz: float | None = None

    def __post_init__(self) -> None:
        if min(self.attack_s, self.release_s, self.hold_s, self.averaging_s, self.lookahead_s) < 0:
            raise ValueError("times must be >= 0")
        if self.slow_store is not None and self.placement != "after computer":
            raise ValueError("a two-stage release works on the reduction: placement must be 'after computer'")

    def reduction_db(self, samples: Array, *, rate_hz: float) -> Array:
        """Reduction the side chain asks for at each sample of its input, in dB; shape (n,)."""
        if self.sidechain_low_cut_hz is not None:
            samples = low_cut(samples.copy(), corner_hz=self.sidechain_low_cut_hz, rate_hz=rate_hz)
        sensed = one_pole(
            sense(samples, self.detector, rate_hz=rate_hz), time_s=self.averaging_s, rate_hz=rate_hz
        )
        if self.placement == "before log":
            sensed = self._follow(sensed, rest=0.0, rate_hz=rate_hz)
        if self.placement == "before computer":
            level_dbfs = self._follow(
                to_dbfs(sensed, self.detector),
                rest=float(to_dbfs(np.zeros(1), self.detector)[0]),
                rate_hz=rate_hz,
            )
            return reduction_db(self.bends, level_dbfs)
        reduction = in_pieces(lambda piece: reduction_db(self.bends, to_dbfs(piece, self.detector)), sensed)
        if self.placement != "after computer":
            return reduction
        if self.slow_store is None:
            return self._follow(reduction, rest=0.0, rate_hz=rate_hz)
        slow = self.slow_store
        return follow_two_stage(
            reduction,
            attack_s=self.attack_s,
            fast_s=self.release_s,
            slow_s=slow.time_s,
            charge_s=slow.charge_s,
            slow_share=slow.share,
            rate_hz=rate_hz,
        )

    def _follow(self, target: Array, *, rest: float, rate_hz: float) -> Array:
        return follow(
            target,
            attack_s=self.attack_s,
            release_s=self.release_s,
            hold_s=self.hold_s,
            form=self.form,
            rate_hz=rate_hz,
            rest=rest,
            in_db=self.placement != "before log",
        )

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Send one channel through the stage, from rest; see `Stage`."""
        gain_db = self.reduction_db(samples, rate_hz=rate_hz)
        np.subtract(self.makeup_db, gain_db, out=gain_db)
        delay = round(self.lookahead_s * rate_hz)
        delayed = np.concatenate([np.zeros(delay), samples])[: samples.size] if delay else samples
        out = in_pieces(amplitude, gain_db.copy())
        out *= delayed
        return StageOutput(out, gain_db)

    @property
    def reads_without_ripple(self) -> bool:
        """Whether a steady sine reads steadily, so that the static curve is the gain computer's own."""
        symmetric = self.attack_s == self.release_s and self.averaging_s + self.attack_s >= STEADY_AVERAGING_S
        return self.detector == "envelope" or (self.detector in ("average", "rms") and symmetric)

    def static_gain_db(self, level_dbfs: Array, *, frequency_hz: float = REFERENCE_HZ) -> Array:
        """Settled gain: the closed form where `reads_without_ripple`, else the side chain run to rest."""
        level_dbfs = np.asarray(level_dbfs, dtype=float)
        if not self.reads_without_ripple:
            return self.makeup_db + settled_gain_db(
                lambda tone, rate_hz: tone * amplitude(-self.reduction_db(tone, rate_hz=rate_hz)),
                level_dbfs,
                frequency_hz=frequency_hz,
                settle_s=5 * self.averaging_s + 10 * self.attack_s + 3 * self.release_s + self.hold_s,
            )
        cut_db = 0.0
        if self.sidechain_low_cut_hz is not None:
            cut_db = low_cut_gain_db(frequency_hz, corner_hz=self.sidechain_low_cut_hz)
        return self.makeup_db - reduction_db(self.bends, level_dbfs + cut_db)

    @property
    def truth(self) -> Mapping[str, TrueValue]:
        """Closed forms that hold for every burst and step; see `Stage`."""
        known = {"path.latency": TrueValue(self.lookahead_s, "s", note="rounded to whole samples")}
        if self.lookahead_s > 0:
            known["attack.lookahead"] = TrueValue(self.lookahead_s, "s", ATTACK_WITHIN_S)
        shift_db = self._threshold_shift_db()
        if shift_db is not None:
            known |= static_truth(
                self.bends,
                makeup_db=self.makeup_db,
                threshold_shift_db=shift_db,
                exact_knee=self.reads_without_ripple,
            )
        downward = all(bend.side == "above" for bend in self.bends)
        if self.placement == "after computer" and self.detector == "envelope" and downward:
            known |= self._timing_truth()
        if self.detector in MEAN_EXPONENT and self.reads_without_ripple:
            known["detector.exponent"] = TrueValue(MEAN_EXPONENT[self.detector], "1")
        if self.sidechain_low_cut_hz is not None:
            known["detector.low_cut"] = TrueValue(self.sidechain_low_cut_hz, "Hz")
        return known

    def _threshold_shift_db(self) -> float | None:
        """How much a steady sine must exceed a constant for the same reading; None without a closed form."""
        if self.sidechain_low_cut_hz is not None:
            shift_db = -low_cut_gain_db(REFERENCE_HZ, corner_hz=self.sidechain_low_cut_hz)
            return shift_db if self.reads_without_ripple else None
        if self.reads_without_ripple:
            return 0.0
        if self.placement == "after computer" or len(self.bends) != 1 or self.bends[0].side == "below":
            return None
        # ahead of the computer the reading scales with the sine: one point on the straight part tells
        bend = self.bends[0]
        level_dbfs = bend.threshold_dbfs + bend.knee_db + 30
        gain_db = float(self.static_gain_db(np.array([level_dbfs]))[0])
        return level_dbfs - bend.threshold_dbfs - (self.makeup_db - gain_db) / bend.slope

    def _timing_truth(self) -> dict[str, TrueValue]:
        if self.slow_store is None:
            return timing_truth(
                attack_s=self.attack_s, release_s=self.release_s, hold_s=self.hold_s, form=self.form
            )
        return two_stage_truth(
            attack_s=self.attack_s,
            fast_s=self.release_s,
            slow_s=self.slow_store.time_s,
            slow_share=self.slow_store.share,
        )
