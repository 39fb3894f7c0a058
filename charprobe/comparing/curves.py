"""Every curve that is compared as a whole, a row each: what it is, how it is drawn, margin, need."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType

from charprobe.comparing.curve import ComparedCurve
from charprobe.comparing.curve_kinds import (
    anchored_curve_of,
    distortion_of,
    noise_spectrum_of,
    response_of,
    static_curve_of,
)
from charprobe.comparing.curve_traces import gain_trace_of
from charprobe.comparing.subjects import Subject
from charprobe.profile.glossary import TERMS
from charprobe.profile.glossary.row import GAIN, HARMONIC, TRACE, Margin, difference


@dataclass(frozen=True)
class CurveKind:
    """A curve that is compared point by point, in dB: what it is called, and what it is in one sentence.

    `drawn` gives it of a subject, averaged over the repeats, or None where they do not hold enough of it;
    `margin` is the largest difference of any point that does not matter, `segment` the kind that a session's
    recipe must have for it.
    """

    title: str
    definition: str
    drawn: Callable[[Subject], ComparedCurve | None]
    margin: Margin
    segment: str


CURVES: Mapping[str, CurveKind] = MappingProxyType(
    {
        "static curve": CurveKind(
            "Static curve",
            "Static curve as it is: settled gain at every input level both have.",
            static_curve_of,
            GAIN,
            "level_steps",
        ),
        "static curve, anchored": CurveKind(
            "Static curve, anchored",
            "Static curve less its low-level gain: threshold, knee and slope alone.",
            anchored_curve_of,
            GAIN,
            "level_steps",
        ),
        "attack trace": CurveKind(
            "Attack trace",
            "Gain around the rising edge of the reference burst, less the gain at rest.",
            partial(gain_trace_of, edge="attack"),
            TRACE,
            "bursts",
        ),
        "release trace": CurveKind(
            "Release trace",
            "Gain around the falling edge of the reference burst, less the gain at rest.",
            partial(gain_trace_of, edge="release"),
            TRACE,
            "bursts",
        ),
        "response": CurveKind(
            "Response",
            "Response at the lowest drive from 20 Hz to 20 kHz, less its value at 1 kHz.",
            response_of,
            difference(0.2, "a part of 5 % tolerance moves a corner's 3 dB by 0.2 dB"),
            "sweep",
        ),
        "distortion": CurveKind(
            "Distortion",
            "THD of the tone nearest 1 kHz at every input level at which both show any.",
            partial(distortion_of, tone="nearest 1 kHz"),
            HARMONIC,
            "tones",
        ),
        "bass distortion": CurveKind(
            "Bass distortion",
            "THD of the lowest tone at every input level at which both show any.",
            partial(distortion_of, tone="lowest"),
            HARMONIC,
            "tones",
        ),
        "treble distortion": CurveKind(
            "Treble distortion",
            "THD of the highest tone at every input level at which both show any.",
            partial(distortion_of, tone="highest"),
            HARMONIC,
            "tones",
        ),
        "noise spectrum": CurveKind(
            "Noise spectrum",
            "Noise level in octaves (all below 88 Hz in one band), mains lines left out.",
            noise_spectrum_of,
            difference(3.0, "3 dB is twice the power in an octave; the levels as wholes have finer margins"),
            "silence",
        ),
    }
)


MARGINS: Mapping[str, Margin] = MappingProxyType(
    {name: term.margin for name, term in TERMS.items() if term.margin is not None}
    | {name: kind.margin for name, kind in CURVES.items()}
)
"""Margins of quantities from the glossary and, point by point, of whole curves from their registry."""
