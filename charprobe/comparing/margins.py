"""Margins: how large a difference must be to matter, for every compared quantity, with the reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal


@dataclass(frozen=True)
class Margin:
    """Largest difference that does not matter.

    `scale` "difference" takes `size` in the quantity's unit; "ratio" takes it as a factor above 1.
    """

    size: float
    scale: Literal["difference", "ratio"]
    reason: str


_GAIN = Margin(0.1, "difference", "0.1 dB is the usual care when levels are matched by hand")
_THRESHOLD = Margin(
    0.2, "difference", "0.2 dB is about what setting a gain knob again by ear and meter costs"
)
_TIME = Margin(1.1, "ratio", "timing parts of 5 to 10 % tolerance are common; 10 % is hardly heard")
_COLOUR = Margin(1.0, "difference", "1 dB of a harmonic moves with a 1 dB change of drive or less")
_NOISE = Margin(0.5, "difference", "0.5 dB of noise is about what temperature and placing of cables change")
_TRACE = Margin(0.5, "difference", "0.5 dB for some milliseconds is hardly heard")
_CORNER = Margin(1.1, "ratio", "capacitors of 5 to 10 % tolerance set corners")
_SHARE = Margin(10.0, "difference", "10 % of a share is about what neighbouring fits trade between stages")

MARGINS: Mapping[str, Margin] = MappingProxyType(
    {
        "static.threshold": _THRESHOLD,
        "static.threshold_1db": _THRESHOLD,
        "static.slope": Margin(0.01, "difference", "0.01 makes 0.1 dB of output 10 dB above the threshold"),
        "static.knee_width": Margin(1.0, "difference", "1 dB of width moves the curve by 0.13 dB at most"),
        "static.low_level_gain": _GAIN,
        "static.makeup_gain": _GAIN,
        "static.max_reduction": _THRESHOLD,
        "static.saturation_level": Margin(3.0, "difference", "3 dB is a step of the shipped recipes"),
        "static.hysteresis": _GAIN,
        **{f"attack.{name}": _TIME for name in ("t50", "t63", "t90", "within_2db", "within_3db")},
        "attack.delay": Margin(0.0001, "difference", "0.1 ms is five samples at 48 kHz"),
        "attack.lookahead": Margin(0.0001, "difference", "0.1 ms is five samples at 48 kHz"),
        "attack.overshoot": _TRACE,
        **{f"release.{name}": _TIME for name in ("t50", "t63", "t90", "within_2db", "within_4db")},
        **{f"release.{name}": _TIME for name in ("tau_1", "tau_2", "memory")},
        "release.hold": Margin(0.002, "difference", "2 ms of hold is short against any release"),
        "release.rate": _TIME,
        "release.stages": Margin(0.5, "difference", "stages are counted"),
        "release.tau_1_share": _SHARE,
        "colour.thd_at_reference": _COLOUR,
        **{f"colour.h{n}_at_reference": _COLOUR for n in range(2, 11)},
        "colour.input_at_thd_minus60db": _COLOUR,
        "colour.input_at_thd_minus40db": _COLOUR,
        "colour.onset": Margin(
            3.0, "difference", "recipes step drive by some dB, so the first level is no finer"
        ),
        "colour.even_odd_balance": _COLOUR,
        "colour.ripple_share": _SHARE,
        "colour.ripple_expected": _COLOUR,
        "colour.imd_smpte": _COLOUR,
        "colour.imd_difference": _COLOUR,
        "response.low_corner": _CORNER,
        "response.high_corner": _CORNER,
        "response.shelf_gain": _GAIN,
        "response.shelf_corner": _CORNER,
        "response.tilt": Margin(
            0.1, "difference", "0.1 dB over a decade is about what a rig moves by itself"
        ),
        "noise.a_weighted": _NOISE,
        "noise.ccir_rms": _NOISE,
        "noise.unweighted": _NOISE,
        "noise.change": _NOISE,
        "noise.under_signal": _NOISE,
        "noise.rise_under_signal": _NOISE,
        "noise.change_at_equal_level": _NOISE,
        "noise.dynamic_range": _NOISE,
        "path.latency": Margin(0.000_01, "difference", "10 µs dips a sum of two inputs by 1 dB at 15 kHz"),
        "detector.exponent": Margin(
            1.25, "ratio", "25 % of p moves the threshold of music by less than 0.5 dB"
        ),
        "detector.low_cut": _CORNER,
        "detector.crosstalk": Margin(3.0, "difference", "crosstalk is judged by its order of size"),
        "detector.link": Margin(0.05, "difference", "0.05 makes 0.5 dB of image shift at 10 dB of reduction"),
        "static curve": _GAIN,
        "static curve, anchored": _GAIN,
        "distortion": _COLOUR,
        "bass distortion": _COLOUR,
        "treble distortion": _COLOUR,
        "response": Margin(0.2, "difference", "a part of 5 % tolerance moves a corner's 3 dB by 0.2 dB"),
        "attack trace": _TRACE,
        "release trace": _TRACE,
        "noise spectrum": Margin(
            3.0, "difference", "3 dB is twice the power in an octave; the levels as wholes have finer margins"
        ),
    }
)
"""Default margins of quantities and, point by point, of whole curves.

The ratio is compared through the slope, and fits of the replay are not compared.
"""
