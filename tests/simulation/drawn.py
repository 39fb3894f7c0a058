"""Devices and rigs with drawn parameters, for benches over many of them."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from charprobe.simulation.devices.dynamics.compressor import Compressor, Placement
from charprobe.simulation.devices.parts.detectors import DetectorKind
from charprobe.simulation.devices.parts.filters import Filter, bass_shelf, treble_shelf
from charprobe.simulation.devices.parts.gain_computer import Bend, slope_of
from charprobe.simulation.devices.shapers import Polynomial, Shaper
from charprobe.simulation.devices.stage import TrueValue
from charprobe.simulation.rig.rig import Rig


def build_compressor(
    *,
    threshold_dbfs: float,
    ratio: float,
    attack_s: float,
    release_s: float,
    knee_db: float = 0.0,
    makeup_db: float = 0.0,
    detector: DetectorKind = "envelope",
    placement: Placement = "after computer",
    hold_s: float = 0.0,
    lookahead_s: float = 0.0,
    name: str = "built",
) -> Compressor:
    """Build a feed-forward compressor with one bend.

    Parameters
    ----------
    threshold_dbfs : float
        Where the straight lines meet, for a sine where the detector reads it without ripple.
    ratio : float
        1 or more, inf for a limiter, negative for over-compression.
    attack_s, release_s, hold_s, lookahead_s : float >= 0
        Time constants, dead time and look-ahead; average and RMS detectors read without ripple only with
        equal attack and release of 4 ms or more.
    knee_db : float >= 0
        Width of the quadratic knee.
    makeup_db : float
        Gain behind the reduction.
    detector, placement : str
        See `Compressor`.
    name : str
        Name of the stage.
    """
    return Compressor(
        name,
        f"{ratio:g}:1 above {threshold_dbfs:g} dBFS",
        (Bend(threshold_dbfs, slope_of(ratio), knee_db),),
        attack_s=attack_s,
        release_s=release_s,
        makeup_db=makeup_db,
        hold_s=hold_s,
        detector=detector,
        placement=placement,
        lookahead_s=lookahead_s,
    )


def draw_compressor(rng: np.random.Generator, *, name: str = "drawn") -> Compressor:
    """Draw a compressor.

    Threshold -45 to -6 dBFS, ratio 1.2 to infinity evenly in its slope, knee 0 to 20 dB (a fifth are hard),
    make-up -6 to +18 dB, attack 0.1 to 50 ms and release 30 ms to 3 s, both evenly in their logarithm.
    """
    slope = rng.uniform(1 - 1 / 1.2, 1.0)
    limits = rng.random() < 0.1
    return build_compressor(
        name=name,
        threshold_dbfs=rng.uniform(-45, -6),
        ratio=math.inf if limits else 1 / (1 - slope),
        knee_db=0.0 if rng.random() < 0.2 else rng.uniform(0, 20),
        makeup_db=rng.uniform(-6, 18),
        attack_s=log_uniform(rng, 1e-4, 0.05),
        release_s=log_uniform(rng, 0.03, 3.0),
    )


def draw_rig(rng: np.random.Generator, *, bits: Literal[16, 24] | None = 24) -> Rig:
    """Draw a rig.

    Noise -120 to -80 dBFS, clock within 100 ppm, up to 960 samples of delay, gain within 3 dB, either
    polarity, AC coupling from 0.5 to 5 Hz.
    """
    return Rig(
        gain_db=rng.uniform(-3, 3),
        delay_samples=rng.uniform(0, 960),
        drift_ppm=rng.uniform(-100, 100),
        noise_dbfs=rng.uniform(-120, -80),
        ac_corner_hz=log_uniform(rng, 0.5, 5.0),
        bits=bits,
        inverted=bool(rng.random() < 0.5),
        lead_s=rng.uniform(0, 0.5),
        tail_s=rng.uniform(0, 0.5),
    )


def draw_shaper(rng: np.random.Generator, *, name: str = "drawn") -> Shaper:
    """Draw a polynomial of order 5.

    Its orders lie between about -90 and -30 dBc at full scale, with signs at random.
    """
    sizes = 10 ** (rng.uniform(-90, -30, 4) / 20) * np.array(
        [2.0, 4.0, 8.0, 16.0]
    )  # x**n makes 2**(1-n) of order n
    signs = rng.choice([-1.0, 1.0], 4)
    coefficients = tuple(float(value) for value in sizes * signs)
    return Shaper(name, "polynomial of order 5", Polynomial(coefficients), makeup_db=rng.uniform(-6, 6))


def draw_shelf(rng: np.random.Generator, *, name: str = "drawn") -> Filter:
    """Draw a first-order shelf: treble, 1.5 to 8 kHz, or bass, 60 to 400 Hz, by 0.5 to 6 dB up or down."""
    gain_db = float(rng.choice([-1.0, 1.0]) * rng.uniform(0.5, 6))
    treble = bool(rng.random() < 0.5)
    corner_hz = log_uniform(rng, 1500, 8000) if treble else log_uniform(rng, 60, 400)
    section = (treble_shelf if treble else bass_shelf)(corner_hz=corner_hz, gain_db=gain_db)
    known = {
        "response.shelf_gain": TrueValue(gain_db, "dB"),
        "response.shelf_corner": TrueValue(corner_hz, "Hz"),
    }
    return Filter(name, "treble shelf" if treble else "bass shelf", (section,), known)


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """Draw a number between two positive ones, evenly in its logarithm."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))
