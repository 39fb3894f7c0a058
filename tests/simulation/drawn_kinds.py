"""Drawn devices of every kind a static curve or a release can be of, for benches of verdicts."""

from __future__ import annotations

import numpy as np

from charprobe.simulation.devices.chain import Chain
from charprobe.simulation.devices.dynamics.compressor import Compressor, SlowStore
from charprobe.simulation.devices.dynamics.feedback_compressor import FeedbackCompressor
from charprobe.simulation.devices.parts.gain_computer import Bend, Bends
from charprobe.simulation.devices.shapers import Saturation, Shaper
from tests.simulation.drawn import log_uniform


def draw_two_bends(rng: np.random.Generator, *, name: str = "drawn") -> Compressor:
    """Draw 1.5:1 to 4:1 above -40 to -24 dBFS, then at least 10:1 from 10 to 18 dB higher on."""
    first = Bend(rng.uniform(-40, -24), rng.uniform(1 / 3, 3 / 4), rng.uniform(0, 6))
    total = rng.uniform(0.9, 1.0)
    second = Bend(first.threshold_dbfs + rng.uniform(10, 18), total - first.slope, rng.uniform(0, 3))
    return _plain(name, "two bends", (first, second), rng)


def draw_expander(rng: np.random.Generator, *, name: str = "drawn") -> Compressor:
    """Draw an expander of 1.5:1 to 5:1 below -55 to -35 dBFS, by 10 to 40 dB at most."""
    bend = Bend(
        rng.uniform(-55, -35), rng.uniform(0.5, 4), rng.uniform(0, 6), "below", most_db=rng.uniform(10, 40)
    )
    return _plain(name, "expander", (bend,), rng)


def draw_upward(rng: np.random.Generator, *, name: str = "drawn") -> Compressor:
    """Draw an upward compressor of 1.4:1 to 3.3:1 below -50 to -25 dBFS that lifts by 6 to 20 dB at most."""
    bend = Bend(
        rng.uniform(-50, -25), -rng.uniform(0.3, 0.7), rng.uniform(0, 6), "below", most_db=rng.uniform(6, 20)
    )
    return _plain(name, "upward compressor", (bend,), rng)


def draw_over_compressor(rng: np.random.Generator, *, name: str = "drawn") -> Compressor:
    """Draw a curve whose output falls by 0.05 to 0.5 dB per dB above -35 to -12 dBFS."""
    bend = Bend(rng.uniform(-35, -12), 1 + rng.uniform(0.05, 0.5), rng.uniform(0, 10))
    return _plain(name, "over-compressor", (bend,), rng)


def draw_straight(rng: np.random.Generator, *, name: str = "drawn") -> Compressor:
    """Draw a gain between -6 and +12 dB that never moves."""
    return _plain(name, "gain", (), rng)


def draw_saturating(rng: np.random.Generator, *, name: str = "drawn") -> Chain:
    """Draw 2:1 to 4:1 above -36 to -26 dBFS whose make-up lifts the top 0 to 5 dB over a soft ceiling."""
    bend = Bend(rng.uniform(-36, -26), rng.uniform(0.5, 0.75), rng.uniform(0, 6))
    makeup_db = float(bend.reduction_db(np.array(0.0))) + rng.uniform(0, 5)
    front = Compressor("front", "front", (bend,), attack_s=0.005, release_s=0.15, makeup_db=makeup_db)
    top = Shaper("top", "soft ceiling", Saturation(drive=rng.uniform(0.8, 1.6)))
    return Chain(name, "compressor into saturation", (front, top), {})


def draw_two_stage(rng: np.random.Generator, *, name: str = "drawn") -> Compressor:
    """Draw a two-stage release: 30 to 120 ms and 6 to 20 times that, 30 to 70 % in the slow store."""
    fast_s = log_uniform(rng, 0.03, 0.12)
    slow = SlowStore(
        time_s=fast_s * rng.uniform(6, 20),
        charge_s=log_uniform(rng, 0.05, 0.5),
        share=rng.uniform(0.3, 0.7),
    )
    bend = Bend(rng.uniform(-36, -18), rng.uniform(0.5, 0.95), rng.uniform(0, 8))
    return Compressor(
        name,
        "two-stage release",
        (bend,),
        attack_s=log_uniform(rng, 1e-3, 0.02),
        release_s=fast_s,
        slow_store=slow,
    )


def draw_mean_square(rng: np.random.Generator, *, name: str = "drawn") -> Compressor:
    """Draw a mean-square detector of 5 to 60 ms, whose release is a straight line in dB."""
    time_s = log_uniform(rng, 0.005, 0.06)
    bend = Bend(rng.uniform(-40, -20), rng.uniform(0.4, 0.9), rng.uniform(0, 6))
    return Compressor(
        name,
        "mean square",
        (bend,),
        attack_s=time_s,
        release_s=time_s,
        detector="rms",
        placement="before log",
    )


def draw_feedback(rng: np.random.Generator, *, name: str = "drawn") -> FeedbackCompressor:
    """Draw a feedback compressor of 1.5:1 to 12:1, open-loop attack 2 to 50 ms and release 0.1 to 2 s."""
    return FeedbackCompressor(
        name,
        "feedback",
        threshold_dbfs=rng.uniform(-40, -15),
        ratio=log_uniform(rng, 1.5, 12),
        attack_s=log_uniform(rng, 0.002, 0.05),
        release_s=log_uniform(rng, 0.1, 2.0),
        knee_db=0.0 if rng.random() < 0.3 else rng.uniform(0, 10),
        makeup_db=rng.uniform(-6, 12),
    )


def _plain(name: str, summary: str, bends: Bends, rng: np.random.Generator) -> Compressor:
    return Compressor(
        name,
        summary,
        bends,
        attack_s=log_uniform(rng, 1e-3, 0.02),
        release_s=log_uniform(rng, 0.05, 0.5),
        makeup_db=rng.uniform(-6, 12),
    )
