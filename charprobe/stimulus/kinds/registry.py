"""Every segment kind a recipe may name: the one list of them."""

from __future__ import annotations

from typing import get_args

from charprobe.stimulus.kinds.bursts import BurstLengths, Bursts, BurstTrain
from charprobe.stimulus.kinds.equal_peak import EqualPeak
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.link import Link
from charprobe.stimulus.kinds.programme import Programme
from charprobe.stimulus.kinds.segment import Spec
from charprobe.stimulus.kinds.steady import Silence, Tones
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.stimulus.kinds.two_tone import TwoTone

AnySpec = (
    LevelSteps
    | Bursts
    | BurstLengths
    | BurstTrain
    | Sweep
    | Tones
    | Silence
    | EqualPeak
    | TwoTone
    | Link
    | Programme
)
KINDS: dict[str, type[Spec]] = {spec.kind: spec for spec in get_args(AnySpec)}
