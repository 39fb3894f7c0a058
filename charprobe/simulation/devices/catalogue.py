"""The reference stages: named devices with known truth, built when asked for."""

from __future__ import annotations

import math
from collections.abc import Callable

from charprobe.simulation.devices.chain import Chain, Wire
from charprobe.simulation.devices.dynamics.compressor import Compressor, SlowStore
from charprobe.simulation.devices.dynamics.diode_bridge import DiodeBridge
from charprobe.simulation.devices.dynamics.feedback_compressor import FeedbackCompressor
from charprobe.simulation.devices.dynamics.gate import Gate
from charprobe.simulation.devices.dynamics.optical import OpticalLeveller
from charprobe.simulation.devices.filtered_shaper import FilteredShaper
from charprobe.simulation.devices.hiss import Hiss
from charprobe.simulation.devices.parts.filters import Filter, bass_shelf, high_pass, low_pass, treble_shelf
from charprobe.simulation.devices.parts.gain_computer import Bend, slope_of
from charprobe.simulation.devices.shapers import Polynomial, Saturation, Shaper
from charprobe.simulation.devices.stage import Stage, TrueValue
from charprobe.simulation.devices.stereo import LinkedPair
from charprobe.values.errors import CharprobeError


def stage_names() -> tuple[str, ...]:
    """Names of all reference stages, in the order they are listed."""
    return tuple(_BUILDERS)


def make_stage(name: str) -> Stage:
    """Build a reference stage by name; `CharprobeError` lists those there are.

    Examples
    --------
    >>> make_stage("smooth-gain-hard").truth["static.ratio"].value
    4.0
    """
    if name not in _BUILDERS:
        raise CharprobeError(f"no reference stage {name!r}; there are: {', '.join(_BUILDERS)}")
    return _BUILDERS[name](name)


def _above(threshold_dbfs: float, ratio: float, knee_db: float = 0.0) -> Bend:
    return Bend(threshold_dbfs, slope_of(ratio), knee_db)


def _core_colour(name: str) -> Stage:
    return FilteredShaper(
        name,
        "core that saturates in the bass: colour with memory",
        Filter("front", "bass shelf", (bass_shelf(corner_hz=120, gain_db=12),), {}),
        Shaper("core", "symmetric saturation", Saturation(drive=0.5)),
        Filter("behind", "the shelf undone", (bass_shelf(corner_hz=120, gain_db=-12),), {}),
    )


def _coloured_compressor(name: str) -> Stage:
    levelling = Compressor(
        "levelling", "soft 3:1", (_above(-26, 3, 8),), attack_s=0.008, release_s=0.18, makeup_db=4.0
    )
    colour = Shaper("warmth", "cubic with a little square", Polynomial((0.01, -0.03)))
    top = Filter("top", "treble shelf", (treble_shelf(corner_hz=5000, gain_db=1.5),), {})
    timing = {key: true for key, true in levelling.truth.items() if key.startswith(("attack", "release"))}
    known = {**timing, "path.latency": top.truth["path.latency"]}
    return Chain(name, "soft compressor, then colour, then a treble shelf", (levelling, colour, top), known)


def _lookahead_limiter(name: str) -> Stage:
    return Compressor(
        name,
        "limiter whose gain moves 1.5 ms ahead of the sound",
        (_above(-12, math.inf),),
        attack_s=0.0004,
        release_s=0.08,
        hold_s=0.004,
        lookahead_s=0.0015,
    )


def _linked_pair(name: str) -> Stage:
    unit = Compressor(name, "hard 3:1", (_above(-26, 3),), attack_s=0.008, release_s=0.15, makeup_db=2.0)
    summary = "two channels, each taking on 60 % of the other's greater reduction"
    return LinkedPair(name, summary, unit, link=0.6, crosstalk_db=-80.0)


_BUILDERS: dict[str, Callable[[str], Stage]] = {
    "plain-wire": lambda name: Wire(name, "nothing at all"),
    "smooth-gain-hard": lambda name: Compressor(
        name,
        "hard 4:1, smoothing the reduction in dB",
        (_above(-24, 4),),
        attack_s=0.005,
        release_s=0.12,
        makeup_db=3.0,
    ),
    "smooth-gain-soft": lambda name: Compressor(
        name,
        "soft 2.5:1, smoothing the reduction in dB",
        (_above(-30, 2.5, 12),),
        attack_s=0.012,
        release_s=0.25,
        makeup_db=5.0,
    ),
    "smooth-level-hard": lambda name: Compressor(
        name,
        "hard 3:1, smoothing the level in dB: the release falls towards silence",
        (_above(-22, 3),),
        attack_s=0.004,
        release_s=0.3,
        placement="before computer",
    ),
    "decoupled-soft": lambda name: Compressor(
        name,
        "soft 4:1 with the attack filter behind the release",
        (_above(-26, 4, 6),),
        attack_s=0.01,
        release_s=0.1,
        form="smooth decoupled",
    ),
    "feedforward-peak-hard": lambda name: Compressor(
        name,
        "hard 4:1 on a rectified peak, smoothed before the log",
        (_above(-20, 4),),
        attack_s=0.0005,
        release_s=0.08,
        detector="peak",
        placement="before log",
        form="branching",
    ),
    "feedforward-average-soft": lambda name: Compressor(
        name,
        "soft 3:1 on the rectified average",
        (_above(-28, 3, 10),),
        attack_s=0.02,
        release_s=0.02,
        makeup_db=4.0,
        detector="average",
        placement="before log",
    ),
    "feedforward-rms-hard": lambda name: Compressor(
        name,
        "hard 2:1 on the mean square: recovers in straight lines",
        (_above(-30, 2),),
        attack_s=0.03,
        release_s=0.03,
        makeup_db=6.0,
        detector="rms",
        placement="before log",
    ),
    "feedback-hard": lambda name: FeedbackCompressor(
        name, "hard 4:1 that hears its own output", -24.0, 4.0, attack_s=0.02, release_s=0.4, makeup_db=2.0
    ),
    "feedback-soft": lambda name: FeedbackCompressor(
        name, "soft 6:1 that hears its own output", -28.0, 6.0, attack_s=0.01, release_s=0.5, knee_db=6.0
    ),
    "fast-limiter": lambda name: Compressor(
        name, "limiter, 0.1 ms", (_above(-10, math.inf),), attack_s=0.0001, release_s=0.05
    ),
    "lookahead-limiter": _lookahead_limiter,
    "over-compressor": lambda name: Compressor(
        name, "output falls as the input rises", (_above(-20, -6, 4),), attack_s=0.003, release_s=0.15
    ),
    "two-bend": lambda name: Compressor(
        name,
        "3:1 above -28 dBFS, limiting above -9 dBFS",
        (_above(-28, 3), Bend(-9, slope_of(math.inf) - slope_of(3))),
        attack_s=0.004,
        release_s=0.14,
    ),
    "two-stage-release": lambda name: Compressor(
        name,
        "half the reduction returns fast, half slowly, and more of it after long bursts",
        (_above(-26, 5, 4),),
        attack_s=0.006,
        release_s=0.06,
        slow_store=SlowStore(time_s=0.9, charge_s=0.4, share=0.5),
    ),
    "held-release": lambda name: Compressor(
        name,
        "waits 40 ms before it lets go",
        (_above(-22, 4),),
        attack_s=0.002,
        release_s=0.1,
        hold_s=0.04,
    ),
    "deaf-to-bass": lambda name: Compressor(
        name,
        "side chain cut below 200 Hz",
        (_above(-24, 4),),
        attack_s=0.005,
        release_s=0.12,
        sidechain_low_cut_hz=200.0,
    ),
    "upward-lift": lambda name: Compressor(
        name,
        "lifts what is quiet by up to 12 dB",
        (Bend(-28, -0.5, 6, side="below", most_db=12),),
        attack_s=0.005,
        release_s=0.15,
    ),
    "noise-gate": lambda name: Gate(
        name,
        "closes by 30 dB below -50 dBFS",
        Bend(-50, 4, 2, side="below", most_db=30),
        attack_s=0.001,
        release_s=0.2,
        hold_s=0.03,
    ),
    "slow-release": lambda name: Compressor(
        name,
        "soft 3:1 that takes 2 s to let go",
        (_above(-28, 3, 6),),
        attack_s=0.02,
        release_s=2.0,
        makeup_db=3.0,
    ),
    "optical-leveller": lambda name: OpticalLeveller(
        name, "lamp and light-dependent cell around its own output"
    ),
    "diode-leveller": lambda name: DiodeBridge(
        name, "diodes as variable resistor: colour grows with reduction"
    ),
    "even-colour": lambda name: Shaper(
        name, "asymmetric saturation: even harmonics lead", Saturation(drive=0.9, bias=0.25), makeup_db=0.0
    ),
    "odd-colour": lambda name: Shaper(
        name, "symmetric saturation: odd harmonics only", Saturation(drive=0.8)
    ),
    "exact-colour": lambda name: Shaper(
        name, "polynomial of order 5 with exact harmonics", Polynomial((0.02, -0.03, 0.004, 0.006))
    ),
    "aliasing-colour": lambda name: Shaper(
        name, "saturation that folds high products back", Saturation(drive=1.5, bias=0.1), oversampled=False
    ),
    "core-colour": _core_colour,
    "treble-lift": lambda name: Filter(
        name,
        "treble shelf, +3 dB",
        (treble_shelf(corner_hz=6000, gain_db=3),),
        {"response.shelf_gain": TrueValue(3.0, "dB"), "response.shelf_corner": TrueValue(6000.0, "Hz")},
    ),
    "bass-lift": lambda name: Filter(
        name,
        "bass shelf, +2 dB",
        (bass_shelf(corner_hz=150, gain_db=2),),
        {"response.shelf_gain": TrueValue(2.0, "dB"), "response.shelf_corner": TrueValue(150.0, "Hz")},
    ),
    "narrow-band": lambda name: Filter(
        name,
        "first-order corners at 30 Hz and 15 kHz",
        (high_pass(corner_hz=30), low_pass(corner_hz=15000)),
        {
            "response.low_corner": TrueValue(30.0, "Hz", 0.15, note="half power, 3.01 dB"),
            "response.high_corner": TrueValue(15000.0, "Hz", 75.0, note="half power, 3.01 dB"),
        },
    ),
    "quiet-hiss": lambda name: Hiss(name, "adds noise at -84 dBFS, 20 Hz to 20 kHz", -84.0, makeup_db=0.5),
    "coloured-compressor": _coloured_compressor,
    "linked-pair": _linked_pair,
}
