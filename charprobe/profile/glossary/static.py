"""Quantities of the static curve."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from charprobe.profile.glossary.row import GAIN, Goal, Term, difference

_KNOB = difference(0.2, "0.2 dB is about what setting a gain knob again by ear and meter costs")

STATIC: Mapping[str, Term] = MappingProxyType(
    {
        "static.threshold": Term(
            "Threshold",
            "dBFS",
            "Input level at which the tangents of the low-level part and of the compressed part of the "
            "static curve meet.",
            margin=_KNOB,
            goal=Goal(absolute=0.1),
            on_input_axis=True,
        ),
        "static.threshold_1db": Term(
            "Threshold (1 dB)",
            "dBFS",
            "Input level at which the settled gain has fallen 1 dB below the low-level gain.",
            margin=_KNOB,
            goal=Goal(absolute=0.05),
            on_input_axis=True,
        ),
        "static.slope": Term(
            "Slope",
            "dB/dB",
            "Rise of the settled output level per dB of input level above the knee; 1 is no compression, "
            "0 a limiter.",
            margin=difference(0.01, "0.01 makes 0.1 dB of output 10 dB above the threshold"),
            goal=Goal(absolute=0.003),
        ),
        "static.ratio": Term(
            "Ratio",
            ":1",
            'One over the slope above the knee, converted last; given as "at least" '
            "when the interval of the slope reaches zero.",
            through="static.slope",
        ),
        "static.knee_width": Term(
            "Knee width",
            "dB",
            "Span of input levels over which the slope passes from its low-level value to its compressed "
            "value (quadratic knee).",
            margin=difference(1.0, "1 dB of width moves the curve by 0.13 dB at most"),
            goal=Goal(absolute=0.5),
        ),
        "static.low_level_gain": Term(
            "Low-level gain",
            "dB",
            "Settled gain well below the threshold, output level less input-axis level.",
            margin=GAIN,
            goal=Goal(absolute=0.01),
        ),
        "static.makeup_gain": Term(
            "Make-up gain",
            "dB",
            "Low-level gain of the setting less that of the bypass.",
            margin=GAIN,
            goal=Goal(absolute=0.01),
        ),
        "static.max_reduction": Term(
            "Largest reduction",
            "dB",
            "Largest settled gain reduction that the recipe's steps brought out.",
            margin=_KNOB,
        ),
        "static.saturation_level": Term(
            "Saturation level",
            "dBFS",
            "Input level from which saturation flattens the output; no ratio is read there.",
            margin=difference(3.0, "3 dB is a step of the shipped recipes"),
            on_input_axis=True,
        ),
        "static.hysteresis": Term(
            "Hysteresis",
            "dB",
            "Largest difference of settled gain between the falling and the rising pass at one input level.",
            margin=GAIN,
        ),
        "static.second_threshold": Term(
            "Second threshold",
            "dBFS",
            "Input level at which the tangents of the compressed part and of a steeper part above it meet.",
            on_input_axis=True,
        ),
        "static.second_slope": Term(
            "Second slope",
            "dB/dB",
            "Rise of the settled output level per dB of input above the second threshold.",
        ),
        "static.lower_threshold": Term(
            "Lower threshold",
            "dBFS",
            "Input level below which the settled gain changes again: expansion, or upward compression.",
            on_input_axis=True,
        ),
        "static.lower_slope": Term(
            "Lower slope",
            "dB/dB",
            "Rise of the settled output level per dB of input level below the lower threshold; above 1 is"
            " expansion.",
        ),
    }
)
