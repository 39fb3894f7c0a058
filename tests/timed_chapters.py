"""The timing chapter of simulated stages, whose own gain tells the truth."""

from functools import cache

import numpy as np

from charprobe.estimators.static.curve import StaticCurve
from charprobe.estimators.static.points import StaticPoint
from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.chapters.timing.chapter import timing_chapter
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.kinds.bursts import BurstLengths, Bursts
from charprobe.stimulus.kinds.steady import Tones
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render

RATE_HZ = 48_000


LOW, HIGH, CARRIER_HZ, LEAD_S, HOLD_S, REST_S = -40.0, -4.0, 3989.0, 0.12, 0.3, 0.9


BURST = {"low_dbfs": LOW, "high_dbfs": HIGH, "lead_s": LEAD_S, "release_s": REST_S}
SEGMENTS = (
    Bursts("reference", CARRIER_HZ, 4, hold_s=HOLD_S, reference=True, **BURST),
    BurstLengths("lengths", CARRIER_HZ, 2, holds_s=(0.1, 1.0), **BURST),
)
STEADY = (Tones("tones", (443.0, 2503.0), (-20.0,), 0.3),)


@cache
def take(stage_name, delay, segments):
    rng = np.random.default_rng([round(100 * delay), *stage_name.encode()])
    stimulus = lay_out(Recipe("timing-test", "made for a test", segments), rate_hz=RATE_HZ, take=1)
    through = make_stage(stage_name).process(render(stimulus), rate_hz=RATE_HZ, rng=rng).samples
    rig = Rig(
        delay_samples=delay,
        noise_dbfs=-110.0,
        bits=24,
        ac_corner_hz=4.0,
        drift_ppm=23.0,
        lead_s=0.3,
        tail_s=0.3,
    )
    recorded = rig.record(through, rate_hz=RATE_HZ, rng=rng)
    return place_take(Track(MemoryCapture(recorded, rate_hz=RATE_HZ, name=stage_name), 0, stimulus))


def takes(stage_name, *, segments=SEGMENTS):
    return take(stage_name, 37.37, segments), take("plain-wire", 25.81, segments)


@cache
def chapter_of(stage_name):
    return timing_chapter(*takes(stage_name), None)


def level_steps(stage, *, low_off_db=0.0):
    """Settled level steps on the closed form of a stage, those of low level off by so much."""
    levels = np.arange(-45.0, 0.0, 2.5)
    gains = stage.static_gain_db(levels) + np.where(levels < HIGH - 10, low_off_db, 0.0)
    rows = zip(levels.tolist(), gains.tolist(), strict=True)
    points = (StaticPoint(x, x + g, 1e-4, "rising", True, 0.0, 0.0) for x, g in rows)
    return StaticCurve(tuple(points), None, 0.0)
