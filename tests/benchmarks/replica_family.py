"""Devices drawn over the whole family a replica knows: detectors, where ballistics stand, releases, loops, colour."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol, cast

import numpy as np

from charprobe.replica.fitting.structures import Reads, Structure
from charprobe.replica.parts import Domain, Form, Towards
from charprobe.simulation.devices.chain import Chain
from charprobe.simulation.devices.dynamics.compressor import Compressor, Placement, SlowStore
from charprobe.simulation.devices.parts.ballistics import Smoothing
from charprobe.simulation.devices.parts.detectors import DetectorKind
from charprobe.simulation.devices.shapers import Polynomial, Shaper
from charprobe.simulation.devices.stage import Stage, StageOutput
from charprobe.values.arrays import Array
from tests.benchmarks.feedback_loop import FeedbackLoop
from tests.simulation.drawn import draw_compressor, draw_shelf, log_uniform

READS: dict[DetectorKind, Reads] = {
    "envelope": "envelope", "peak": "rectified", "average": "average", "rms": "mean square",
}  # fmt: skip
PEAKS = {"peak": 1.0, "average": np.pi / 2, "rms": np.sqrt(2.0)}  # what each reads at the crest of a sine
DOMAINS: dict[Placement, Domain] = {
    "before log": "level", "before computer": "level in dB", "after computer": "reduction",
}  # fmt: skip
FORMS: dict[Smoothing, tuple[Form, Towards]] = {
    "smooth branching": ("branching", "target"), "branching": ("branching", "rest"),
    "smooth decoupled": ("decoupled", "target"), "decoupled": ("decoupled", "rest"),
}  # fmt: skip


class Processes(Protocol):
    """What sends sound through."""

    def process(self, samples: Array, *, rate_hz: float, rng: np.random.Generator) -> StageOutput:
        """Send one channel through, from rest."""


@dataclass(frozen=True)
class Drawn:
    """A device, its gain cell, and the structure that is the true one."""

    stage: Processes
    cell: Compressor | FeedbackLoop
    structure: Structure
    words: str

    @property
    def higher_db(self) -> float:
        """How much higher the device's own detector reads than that of the structure."""
        if self.structure.reads != "rectified" or not isinstance(self.cell, Compressor):
            return 0.0
        return float(20 * np.log10(PEAKS[self.cell.detector]))


def draw_device(rng: np.random.Generator, *, name: str) -> Drawn:
    """Draw a device of any structure of the family.

    Numbers as in `draw_compressor`. A fifth are feedback loops around a rectifier or a mean square. Of the others the detector is an
    envelope, a rectifier, an average or a mean square, half of these two with 4 to 20 ms of their own; ballistics
    stand on the level, on that in dB or on the reduction, in one of four forms; a sixth hold for 5 to 60 ms, a sixth
    of those on the reduction have a slow store. A sixth have a side-chain low cut (40 to 300 Hz), a tenth look ahead
    (1 to 5 ms), a quarter a polynomial of order 3 behind or ahead of the cell (-70 to -35 dBc at full scale), a sixth
    a shelf behind it.
    """
    cell, structure = _feedback(rng, name) if rng.random() < 0.2 else _feed_forward(rng, name)
    parts: list[Processes] = [cell]
    words = [structure.in_words()]
    if rng.random() < 0.25:
        parts.insert(int(rng.random() < 0.5), shaper := _shaper(rng))
        words.append(f"colour {'ahead' if parts[0] is shaper else 'behind'}")
    if rng.random() < 1 / 6:
        parts.append(draw_shelf(rng))
        words.append("shelf")
    stage: Processes = (
        cell if len(parts) == 1 else Chain(name, "drawn", cast("tuple[Stage, ...]", tuple(parts)), {})
    )
    return Drawn(stage, cell, structure, ", ".join(words))


def _feedback(rng: np.random.Generator, name: str) -> tuple[FeedbackLoop, Structure]:
    like = draw_compressor(rng, name=name)
    ratio = min(20.0, 1 / max(0.05, 1 - like.bends[0].slope))
    averaging_s = log_uniform(rng, 0.004, 0.02) if rng.random() < 0.5 else 0.0
    cell = FeedbackLoop(
        name, like.bends[0].threshold_dbfs, ratio, like.attack_s * ratio, like.release_s, like.bends[0].knee_db / 2,
        averaging_s, like.makeup_db,
    )  # fmt: skip
    reads: Reads = "mean square" if averaging_s else "rectified"
    return cell, Structure(reads, averaged=averaging_s > 0, loop="feedback")


def _feed_forward(rng: np.random.Generator, name: str) -> tuple[Compressor, Structure]:
    detector = list(READS)[rng.choice(4, p=[0.3, 0.2, 0.2, 0.3])]
    placement = list(DOMAINS)[rng.choice(3, p=[0.3, 0.2, 0.5])]
    form = list(FORMS)[rng.choice(4, p=[0.5, 0.15, 0.2, 0.15])]
    averages = detector in ("average", "rms") and rng.random() < 0.5
    held, slow = rng.random() < 1 / 6, rng.random() < 1 / 6 and placement == "after computer"
    cell = draw_compressor(rng, name=name)
    if slow:
        form, held = "smooth branching", False
    cell = replace(
        cell,
        detector=detector,
        placement=placement,
        form=form,
        averaging_s=log_uniform(rng, 0.004, 0.02) if averages else 0.0,
        hold_s=rng.uniform(0.005, 0.06) if held else 0.0,
        slow_store=SlowStore(
            cell.release_s * rng.uniform(4, 10), rng.uniform(0.2, 2.0), rng.uniform(0.2, 0.7)
        )
        if slow
        else None,
        sidechain_low_cut_hz=log_uniform(rng, 40, 300) if rng.random() < 1 / 6 else None,
        lookahead_s=rng.uniform(0.001, 0.005) if rng.random() < 0.1 else 0.0,
    )
    shape, towards = FORMS[form]
    reads = READS[detector]
    if not averages and (reads == "average" or (reads == "mean square" and placement != "before log")):
        reads = "rectified"  # the same at another threshold
    structure = Structure(
        reads,
        averaged=averages,
        domain=DOMAINS[placement],
        form=shape,
        towards=towards,
        release="charged" if slow else "one",
        held=held,
        low_cut=0 if cell.sidechain_low_cut_hz is None else 1,
    )
    return cell, structure


def _shaper(rng: np.random.Generator) -> Shaper:
    """Even and odd colour: x**n makes 2**(1-n) of order n."""
    second, third = 10 ** (rng.uniform(-70, -35, 2) / 20) * np.array([2.0, -4.0])
    return Shaper("drawn", "polynomial of order 3", Polynomial((float(second), float(third))))
