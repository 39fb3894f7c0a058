"""Quantities beside gain, times and colour: response, noise, path, detector, replica."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from charprobe.profile.glossary.row import GAIN, Goal, Term, difference, ratio

_NOISE = difference(0.5, "0.5 dB of noise is about what temperature and placing of cables change")
_CORNER = ratio(1.1, "capacitors of 5 to 10 % tolerance set corners")

RESPONSE: Mapping[str, Term] = MappingProxyType(
    {
        **{
            f"response.{end}_corner": Term(
                f"{end.capitalize()} corner",
                "Hz",
                f"Frequency {side} mid-band at which the response re bypass is 3 dB down: the corner of the "
                "filter that describes that end, else the crossing re 1 kHz.",
                margin=_CORNER,
                goal=Goal(relative=0.02),
            )
            for end, side in (("low", "below"), ("high", "above"))
        },
        "response.shelf_gain": Term(
            "Shelf gain",
            "dB",
            "Gain of the best-fitting shelf of the response re bypass.",
            margin=GAIN,
            goal=Goal(absolute=0.05),
        ),
        "response.shelf_corner": Term(
            "Shelf corner",
            "Hz",
            "Frequency at which the best-fitting shelf has half its gain in dB.",
            margin=_CORNER,
            goal=Goal(relative=0.02),
        ),
        "response.tilt": Term(
            "Tilt",
            "dB/decade",
            "Least-squares slope of the response re bypass over log frequency, 100 Hz to 10 kHz.",
            margin=difference(0.1, "0.1 dB over a decade is about what a rig moves by itself"),
        ),
    }
)

NOISE: Mapping[str, Term] = MappingProxyType(
    {
        "noise.a_weighted": Term(
            "Noise (A)", "dBFS", "Output noise from 20 Hz to 20 kHz, A-weighted.", margin=_NOISE
        ),
        "noise.ccir_rms": Term(
            "Noise (CCIR-RMS)",
            "dBFS",
            "Output noise from 20 Hz to 20 kHz with the ITU-R 468 curve at unity for 2 kHz, RMS.",
            margin=_NOISE,
        ),
        "noise.unweighted": Term(
            "Noise (flat)",
            "dBFS",
            "Output noise from 20 Hz to 20 kHz, unweighted.",
            margin=_NOISE,
            goal=Goal(absolute=0.1),
        ),
        "noise.change": Term(
            "Noise change",
            "dB",
            "Unweighted output noise of the setting less that of the bypass.",
            margin=_NOISE,
        ),
        "noise.change_at_equal_level": Term(
            "Noise change, equal level",
            "dB",
            "Noise change less the gain of the quiet tone: what is left when both play equally loud.",
            margin=_NOISE,
        ),
        "noise.under_signal": Term(
            "Noise under signal",
            "dBFS",
            "Unweighted noise from 20 Hz to 20 kHz that the stage adds beside the reference tone, lines "
            "apart.",
            margin=_NOISE,
        ),
        "noise.rise_under_signal": Term(
            "Rise of noise",
            "dB",
            "Noise beside the reference tone less noise beside the quietest tone of that frequency.",
            margin=_NOISE,
        ),
        "noise.mains": Term(
            "Mains lines",
            "dBFS",
            "Power sum of the lines of the 50 Hz or 60 Hz family, kept out of the noise.",
        ),
        "noise.dynamic_range": Term(
            "Dynamic range",
            "dB",
            "Full-scale level over the CCIR-RMS noise beside a −60 dBFS tone.",
            margin=_NOISE,
        ),
    }
)

PATH: Mapping[str, Term] = MappingProxyType(
    {
        "path.latency": Term(
            "Latency",
            "s",
            "Delay of the setting less that of the bypass, in seconds of the player's clock.",
            margin=difference(0.000_01, "10 µs dips a sum of two inputs by 1 dB at 15 kHz"),
            goal=Goal(samples=0.02),
        ),
        "path.latency_samples": Term(
            "Latency in samples",
            "samples",
            "Delay of the setting less that of the bypass, in samples of the stimulus.",
            through="path.latency",
        ),
    }
)

DETECTOR: Mapping[str, Term] = MappingProxyType(
    {
        "detector.exponent": Term(
            "Detector exponent",
            "1",
            "Exponent p of the p-norm that puts all waveforms on the sine's curve: 1 average, 2 RMS, "
            "large for peak.",
            margin=ratio(1.25, "25 % of p moves the threshold of music by less than 0.5 dB"),
        ),
        "detector.link": Term(
            "Stereo link",
            "dB/dB",
            "Reduction of a quiet pilot on this side while only the other side is driven, over the "
            "reduction of this side when it is driven as hard: 0 not linked, 1 linked.",
            margin=difference(0.05, "0.05 makes 0.5 dB of image shift at 10 dB of reduction"),
        ),
        "detector.crosstalk": Term(
            "Crosstalk",
            "dB",
            "Level of the other side's tone in this channel over what drives it, ahead of this side's gain.",
            margin=difference(3.0, "crosstalk is judged by its order of size"),
        ),
        "detector.low_cut": Term(
            "Detector low cut",
            "Hz",
            "Corner of the high-pass filter in front of the level detector.",
            margin=_CORNER,
            goal=Goal(relative=0.1),
        ),
    }
)

REPLICA: Mapping[str, Term] = MappingProxyType(
    {
        "replica.residual": Term(
            "Replica residual",
            "dB",
            "Energy of the fitted model's error over the energy of the captured signal, on programme it "
            "was not fitted to.",
        ),
        "replica.gain_error": Term(
            "Replica gain error",
            "dB",
            "Root-mean-square difference of the measured and the fitted model's gain, on programme it was "
            "not fitted to.",
        ),
        "replica.explained": Term(
            "Replica gain explained",
            "1",
            "Share of the variance of the measured gain that the fitted model explains on that programme.",
        ),
    }
)
