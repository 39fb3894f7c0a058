"""Quantities of colour: harmonics, intermodulation, and the ripple that looks like them."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from charprobe.profile.glossary.row import HARMONIC, SHARE, Goal, Term, difference

_LEVEL_GOAL = Goal(absolute=0.1)

COLOUR: Mapping[str, Term] = MappingProxyType(
    {
        "colour.thd_at_reference": Term(
            "THD at reference",
            "dBc",
            "Root sum of squares of harmonics 2 to 10 over the fundamental, at the recipe's reference "
            "level and frequency.",
            margin=HARMONIC,
            goal=_LEVEL_GOAL,
        ),
        **{
            f"colour.h{n}_at_reference": Term(
                f"H{n} at reference",
                "dBc",
                f"Level of harmonic {n} over the fundamental, at the recipe's reference level and frequency.",
                margin=HARMONIC,
                goal=_LEVEL_GOAL,
            )
            for n in range(2, 11)
        },
        **{
            f"colour.input_at_thd_minus{db}db": Term(
                f"Input at −{db} dB THD",
                "dBFS",
                f"Lowest input level at which THD reaches −{db} dB ({share}).",
                margin=HARMONIC,
                goal=Goal(absolute=0.2),
                on_input_axis=True,
            )
            for db, share in ((60, "0.1 %"), (40, "1 %"))
        },
        "colour.onset": Term(
            "Colour onset",
            "dBFS",
            "First input level from which the harmonics exceed those of the bypass by more than their "
            "interval and stay above.",
            margin=difference(3.0, "recipes step drive by some dB, so the first level is no finer"),
            on_input_axis=True,
        ),
        "colour.even_odd_balance": Term(
            "Even/odd balance",
            "dB",
            "Power of the even harmonics over that of the odd ones, orders 2 to 10, at the reference.",
            margin=HARMONIC,
        ),
        "colour.ripple_share": Term(
            "Ripple share",
            "%",
            "Share of the third harmonic's amplitude under gain reduction that ripple of the gain explains.",
            margin=SHARE,
        ),
        "colour.ripple_expected": Term(
            "Expected ripple",
            "dBc",
            "Third harmonic, over the fundamental, that ripple of the gain makes if a plain detector with"
            " the measured attack and release drives it: a full-wave rectifier, or a smooth one where the"
            " times tell.",
            margin=HARMONIC,
        ),
        "colour.imd_smpte": Term(
            "Intermodulation (two-tone)",
            "dB",
            "Sidebands f2 ± n f1 of a weak high tone f2 beside a four times stronger low tone f1, each "
            "pair summed, the orders root-sum-squared, over the high tone.",
            margin=HARMONIC,
        ),
        "colour.imd_difference": Term(
            "Intermodulation (difference)",
            "dB",
            "Products f2 − f1 and, as one sum, 2 f1 − f2 and 2 f2 − f1 of two equal high tones, "
            "root-sum-squared, over the sum of the two tones.",
            margin=HARMONIC,
        ),
    }
)
