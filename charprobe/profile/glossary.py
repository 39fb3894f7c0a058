"""What every published name means: title, unit and a one-sentence definition.

Profiles, tables, figures and pages take titles, units and definitions from here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True)
class Term:
    """A published name: its short title, unit ("" where it has none) and one-sentence definition."""

    title: str
    unit: str
    definition: str


GROUPS: Mapping[str, str] = MappingProxyType(
    {
        "static": "Static curve",
        "attack": "Attack",
        "release": "Release",
        "colour": "Colour",
        "response": "Response",
        "noise": "Noise",
        "path": "Path",
        "detector": "Detector",
        "replay": "Replay",
    }
)
"""Groups of quantities in reading order: the part of a name before its dot, and its title."""

_CHANGE = "of the gain change in dB between the settled gains before and after the edge"
_ATTACK = "Time from the rising edge of the input until"
_RELEASE = "Time from the falling edge of the input until"

_STATIC = {
    "static.threshold": Term(
        "Threshold",
        "dBFS",
        "Input level at which the tangents of the low-level part and "
        "of the compressed part of the static curve meet.",
    ),
    "static.threshold_1db": Term(
        "Threshold (1 dB)",
        "dBFS",
        "Input level at which the settled gain has fallen 1 dB below the low-level gain.",
    ),
    "static.slope": Term(
        "Slope",
        "dB/dB",
        "Rise of the settled output level per dB of input level above the "
        "knee; 1 is no compression, 0 a limiter.",
    ),
    "static.ratio": Term(
        "Ratio",
        ":1",
        'One over the slope above the knee, converted last; given as "at least" '
        "when the interval of the slope reaches zero.",
    ),
    "static.knee_width": Term(
        "Knee width",
        "dB",
        "Span of input levels over which the slope passes from its "
        "low-level value to its compressed value (quadratic knee).",
    ),
    "static.low_level_gain": Term(
        "Low-level gain", "dB", "Settled gain well below the threshold, output level less input-axis level."
    ),
    "static.makeup_gain": Term(
        "Make-up gain", "dB", "Low-level gain of the setting less that of the bypass."
    ),
    "static.max_reduction": Term(
        "Largest reduction", "dB", "Largest settled gain reduction that the recipe's steps brought out."
    ),
    "static.saturation_level": Term(
        "Saturation level",
        "dBFS",
        "Input level from which saturation flattens the output; no ratio is read there.",
    ),
    "static.hysteresis": Term(
        "Hysteresis",
        "dB",
        "Largest difference of settled gain between the falling and the rising pass at one input level.",
    ),
    "static.second_threshold": Term(
        "Second threshold",
        "dBFS",
        "Input level at which the tangents of the compressed part and of a steeper part above it meet.",
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
    ),
    "static.lower_slope": Term(
        "Lower slope",
        "dB/dB",
        "Rise of the settled output level per dB of input level below the lower "
        "threshold; above 1 is expansion.",
    ),
}

_ATTACK_TERMS = {
    "attack.delay": Term("Attack delay", "s", f"{_ATTACK} 5 % {_CHANGE} is done."),
    "attack.t50": Term("Attack t50", "s", f"{_ATTACK} 50 % {_CHANGE} is done."),
    "attack.t63": Term("Attack t63", "s", f"{_ATTACK} 63.2 % {_CHANGE} is done."),
    "attack.t90": Term("Attack t90", "s", f"{_ATTACK} 90 % {_CHANGE} is done."),
    "attack.within_2db": Term(
        "Attack within 2 dB",
        "s",
        f"{_ATTACK} the gain is for the last time farther than 2 dB from its settled value.",
    ),
    "attack.within_3db": Term(
        "Attack within 3 dB",
        "s",
        f"{_ATTACK} the gain is for the last time farther than 3 dB from its settled value.",
    ),
    "attack.initial_slope": Term(
        "Attack initial slope",
        "dB/ms",
        "Speed of the gain at the start of its movement after the rising edge.",
    ),
    "attack.overshoot": Term(
        "Attack overshoot", "dB", "How far the gain falls below its settled value after the rising edge."
    ),
    "attack.lookahead": Term(
        "Look-ahead",
        "s",
        "How long before the rising edge the gain starts to move, the delay of the path taken off.",
    ),
}

_RELEASE_TERMS = {
    "release.hold": Term(
        "Release hold",
        "s",
        "Dead time after the falling edge of the input before the gain starts to recover.",
    ),
    "release.t50": Term("Release t50", "s", f"{_RELEASE} 50 % {_CHANGE} is recovered."),
    "release.t63": Term("Release t63", "s", f"{_RELEASE} 63.2 % {_CHANGE} is recovered."),
    "release.t90": Term("Release t90", "s", f"{_RELEASE} 90 % {_CHANGE} is recovered."),
    "release.within_2db": Term(
        "Release within 2 dB",
        "s",
        f"{_RELEASE} the gain is for the last time farther than 2 dB from its settled value.",
    ),
    "release.within_4db": Term(
        "Release within 4 dB",
        "s",
        f"{_RELEASE} the gain is for the last time farther than 4 dB from its settled value.",
    ),
    "release.rate": Term("Release rate", "dB/s", "Speed of a recovery that is a straight line in dB."),
    "release.stages": Term(
        "Release stages",
        "1",
        "Number of exponential stages the recovery needs; two only where two fit clearly better than one.",
    ),
    "release.tau_1": Term(
        "Release time constant 1",
        "s",
        "Time constant of the only or the faster exponential stage of the recovery.",
    ),
    "release.tau_2": Term(
        "Release time constant 2", "s", "Time constant of the slower exponential stage of the recovery."
    ),
    "release.tau_1_share": Term(
        "Share of stage 1", "%", "Share of the recovery in dB that the faster stage carries."
    ),
    "release.open_loop_ratio": Term(
        "Open-loop ratio",
        "1",
        "Release t63 to a level below the threshold divided by that to a level still being reduced, both "
        "from the reference level: 1 where the gain is smoothed in dB; above 1, up to the static ratio, "
        "where the detector senses the output.",
    ),
    "release.train_swing": Term(
        "Swing in a train of bursts",
        "dB",
        "Gain before a burst less gain at its end, once a train of even bursts and pauses has settled.",
    ),
    "release.train_held": Term(
        "Reduction held through pauses",
        "dB",
        "Gain at rest less gain at the end of pauses, once a train of even bursts and pauses has settled.",
    ),
    "release.memory": Term(
        "Release memory",
        "1",
        "Release t63 after the longest burst divided by that after the shortest; 1 is no memory.",
    ),
}

_COLOUR = {
    "colour.thd_at_reference": Term(
        "THD at reference",
        "dBc",
        "Root sum of squares of harmonics 2 to 10 over "
        "the fundamental, at the recipe's reference level and frequency.",
    ),
    **{
        f"colour.h{n}_at_reference": Term(
            f"H{n} at reference",
            "dBc",
            f"Level of harmonic {n} over the fundamental, at the recipe's reference level and frequency.",
        )
        for n in range(2, 11)
    },
    "colour.input_at_thd_minus60db": Term(
        "Input at −60 dB THD", "dBFS", "Lowest input level at which THD reaches −60 dB (0.1 %)."
    ),
    "colour.input_at_thd_minus40db": Term(
        "Input at −40 dB THD", "dBFS", "Lowest input level at which THD reaches −40 dB (1 %)."
    ),
    "colour.onset": Term(
        "Colour onset",
        "dBFS",
        "First input level from which the harmonics exceed those of the "
        "bypass by more than their interval and stay above.",
    ),
    "colour.even_odd_balance": Term(
        "Even/odd balance",
        "dB",
        "Power of the even harmonics over that of the odd ones, orders 2 to 10, at the reference.",
    ),
    "colour.ripple_share": Term(
        "Ripple share",
        "%",
        "Share of the third harmonic's amplitude under gain reduction that ripple of the gain explains.",
    ),
    "colour.ripple_expected": Term(
        "Expected ripple",
        "dBc",
        "Third harmonic, over the fundamental, that ripple of the gain makes if a plain detector with the "
        "measured attack and release drives it: a full-wave rectifier, or a smooth one where the times tell.",
    ),
    "colour.imd_smpte": Term(
        "Intermodulation (two-tone)",
        "dB",
        "Sidebands f2 ± n f1 of a weak high tone f2 beside a four times stronger low tone f1, each pair "
        "summed, the orders root-sum-squared, over the high tone.",
    ),
    "colour.imd_difference": Term(
        "Intermodulation (difference)",
        "dB",
        "Products f2 − f1 and, as one sum, 2 f1 − f2 and 2 f2 − f1 of two equal high tones, "
        "root-sum-squared, over the sum of the two tones.",
    ),
}

_REST = {
    "response.low_corner": Term(
        "Low corner", "Hz", "Frequency below mid-band at which the response re bypass is 3 dB down."
    ),
    "response.high_corner": Term(
        "High corner", "Hz", "Frequency above mid-band at which the response re bypass is 3 dB down."
    ),
    "response.shelf_gain": Term(
        "Shelf gain", "dB", "Gain of the best-fitting shelf of the response re bypass."
    ),
    "response.shelf_corner": Term(
        "Shelf corner", "Hz", "Frequency at which the best-fitting shelf has half its gain in dB."
    ),
    "response.tilt": Term(
        "Tilt",
        "dB/decade",
        "Least-squares slope of the response re bypass over log frequency, 100 Hz to 10 kHz.",
    ),
    "noise.a_weighted": Term("Noise (A)", "dBFS", "Output noise from 20 Hz to 20 kHz, A-weighted."),
    "noise.ccir_rms": Term(
        "Noise (CCIR-RMS)",
        "dBFS",
        "Output noise from 20 Hz to 20 kHz with the ITU-R 468 curve at unity for 2 kHz, RMS.",
    ),
    "noise.unweighted": Term("Noise (flat)", "dBFS", "Output noise from 20 Hz to 20 kHz, unweighted."),
    "noise.change": Term(
        "Noise change", "dB", "Unweighted output noise of the setting less that of the bypass."
    ),
    "noise.change_at_equal_level": Term(
        "Noise change, equal level",
        "dB",
        "Noise change less the gain of the quiet tone: what is left when both play equally loud.",
    ),
    "noise.under_signal": Term(
        "Noise under signal",
        "dBFS",
        "Unweighted noise from 20 Hz to 20 kHz that the stage adds beside the reference tone, lines apart.",
    ),
    "noise.rise_under_signal": Term(
        "Rise of noise",
        "dB",
        "Noise beside the reference tone less noise beside the quietest tone of that frequency.",
    ),
    "noise.mains": Term(
        "Mains lines", "dBFS", "Power sum of the lines of the 50 Hz or 60 Hz family, kept out of the noise."
    ),
    "noise.dynamic_range": Term(
        "Dynamic range", "dB", "Full-scale level over the CCIR-RMS noise beside a −60 dBFS tone."
    ),
    "path.latency": Term("Latency", "s", "Delay of the setting less that of the bypass."),
    "path.latency_samples": Term(
        "Latency in samples",
        "samples",
        "Delay of the setting less that of the bypass, in samples of the stimulus.",
    ),
    "detector.exponent": Term(
        "Detector exponent",
        "1",
        "Exponent p of the p-norm that puts all waveforms on the "
        "sine's curve: 1 average, 2 RMS, large for peak.",
    ),
    "detector.link": Term(
        "Stereo link",
        "dB/dB",
        "Reduction of a quiet pilot on this side while only the other side is driven, over the reduction of "
        "this side when it is driven as hard: 0 not linked, 1 linked.",
    ),
    "detector.crosstalk": Term(
        "Crosstalk",
        "dB",
        "Level of the other side's tone in this channel over what drives it, ahead of this side's gain.",
    ),
    "detector.low_cut": Term(
        "Detector low cut", "Hz", "Corner of the high-pass filter in front of the level detector."
    ),
    "replay.residual": Term(
        "Replay residual",
        "dB",
        "Energy of the fitted model's error over the energy of the "
        "captured signal, on programme it was not fitted to.",
    ),
    "replay.gain_error": Term(
        "Replay gain error", "dB", "Root-mean-square error of the fitted model's gain trace."
    ),
}

TERMS: Mapping[str, Term] = MappingProxyType(_STATIC | _ATTACK_TERMS | _RELEASE_TERMS | _COLOUR | _REST)
"""Every quantity a profile may hold, in reading order."""


def term(name: str) -> Term:
    """Return the entry of a quantity.

    Raises
    ------
    KeyError
        If the glossary does not hold `name`: add it there before publishing it.
    """
    return TERMS[name]


def group(name: str) -> str:
    """Return the group of a quantity: the part of its name before the dot."""
    return name.partition(".")[0]
