"""Quantities of attack and release."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from charprobe.profile.glossary.row import SHARE, TRACE, Goal, Term, difference, ratio

_TIME = ratio(1.1, "timing parts of 5 to 10 % tolerance are common; 10 % is hardly heard")
_START = difference(0.0001, "0.1 ms is five samples at 48 kHz")
_ATTACK_GOAL, _RELEASE_GOAL = Goal(relative=0.02, samples=1), Goal(relative=0.01)
_CHANGE = "of the gain change in dB between the settled gains before and after the edge"
_FALLS = "of the gain change in dB from the gain that the burst has reached to the settled gain after it"
_MEAN = (
    "The gain is the mean over the carrier phases of the bursts, weighted with the square of the signal; "
    "from eight carrier periods after the edge on it is taken over whole periods. The times of a stage that "
    "remembers are those that these bursts bring out."
)
_FARTHER = "the gain is for the last time farther than {} dB from its settled value."
_ATTACK = "Time from the rising edge of the input until"
_RELEASE = "Time from the falling edge of the input until"


def _part(title: str, text: str, goal: Goal | None = None) -> Term:
    """A time by which part of the change is done."""
    return Term(title, "s", f"{text} {_MEAN}", margin=_TIME, goal=goal)


ATTACK: Mapping[str, Term] = MappingProxyType(
    {
        "attack.delay": Term("Attack delay", "s", f"{_ATTACK} 5 % {_CHANGE} is done. {_MEAN}", margin=_START),
        "attack.t50": _part("Attack t50", f"{_ATTACK} 50 % {_CHANGE} is done for good.", _ATTACK_GOAL),
        "attack.t63": _part("Attack t63", f"{_ATTACK} 63.2 % {_CHANGE} is done for good.", _ATTACK_GOAL),
        "attack.t90": _part("Attack t90", f"{_ATTACK} 90 % {_CHANGE} is done for good.", _ATTACK_GOAL),
        "attack.within_2db": _part("Attack within 2 dB", f"{_ATTACK} {_FARTHER.format(2)}"),
        "attack.within_3db": _part("Attack within 3 dB", f"{_ATTACK} {_FARTHER.format(3)}"),
        "attack.initial_slope": Term(
            "Attack initial slope",
            "dB/ms",
            "Speed of the gain at the start of its movement after the rising edge.",
        ),
        "attack.overshoot": Term(
            "Attack overshoot",
            "dB",
            "How far the gain falls below its settled value after the rising edge.",
            margin=TRACE,
        ),
        "attack.lookahead": Term(
            "Look-ahead",
            "s",
            "How long before the rising edge the gain starts to move, the delay of the path taken off.",
            margin=_START,
            goal=Goal(samples=2),
        ),
    }
)

RELEASE: Mapping[str, Term] = MappingProxyType(
    {
        "release.hold": Term(
            "Release hold",
            "s",
            "Dead time after the falling edge of the input before the gain starts to recover.",
            margin=difference(0.002, "2 ms of hold is short against any release"),
            goal=Goal(relative=0.02, samples=2),
        ),
        "release.t50": _part(
            "Release t50", f"{_RELEASE} 50 % {_FALLS} is recovered for good.", _RELEASE_GOAL
        ),
        "release.t63": _part(
            "Release t63", f"{_RELEASE} 63.2 % {_FALLS} is recovered for good.", _RELEASE_GOAL
        ),
        "release.t90": _part(
            "Release t90", f"{_RELEASE} 90 % {_FALLS} is recovered for good.", _RELEASE_GOAL
        ),
        "release.within_2db": _part("Release within 2 dB", f"{_RELEASE} {_FARTHER.format(2)}"),
        "release.within_4db": _part("Release within 4 dB", f"{_RELEASE} {_FARTHER.format(4)}"),
        "release.rate": Term(
            "Release rate", "dB/s", "Speed of a recovery that is a straight line in dB.", margin=_TIME
        ),
        "release.stages": Term(
            "Release stages",
            "1",
            "Number of exponential stages the recovery needs; two only where two fit clearly better than "
            "one.",
            margin=difference(0.5, "stages are counted"),
            goal=Goal(absolute=0.0),
        ),
        "release.tau_1": Term(
            "Release time constant 1",
            "s",
            "Time constant of the only or the faster exponential stage of the recovery.",
            margin=_TIME,
            goal=Goal(relative=0.05),
        ),
        "release.tau_2": Term(
            "Release time constant 2",
            "s",
            "Time constant of the slower exponential stage of the recovery.",
            margin=_TIME,
            goal=Goal(relative=0.05),
        ),
        "release.tau_1_share": Term(
            "Share of stage 1",
            "%",
            "Share of the recovery in dB that the faster stage carries, after bursts as long as the "
            "conditions say: what is slow fills slowly, so shorter bursts leave it a smaller share.",
            margin=SHARE,
            goal=Goal(absolute=5.0),
        ),
        "release.open_loop_ratio": Term(
            "Open-loop ratio",
            "1",
            "Release t63 to a level below the threshold divided by that to a level still being reduced, "
            "both from the reference level: 1 where the gain is smoothed in dB; above 1, up to the static"
            " ratio, where the detector senses the output.",
        ),
        "release.train_swing": Term(
            "Swing in a train of bursts",
            "dB",
            "Gain before a burst less gain at its end, once a train of even bursts and pauses has settled.",
        ),
        "release.train_held": Term(
            "Reduction held through pauses",
            "dB",
            "Gain at rest less gain at the end of pauses, once a train of even bursts and pauses has "
            "settled.",
        ),
        "release.memory": Term(
            "Release memory",
            "1",
            "Release t63 after the longest burst divided by that after the shortest; 1 is no memory.",
            margin=_TIME,
        ),
    }
)
