"""The project's own reference stages in the form of the zoo, so that the same judge holds them against their own gain."""

from __future__ import annotations

import numpy as np

from charprobe.simulation.devices.catalogue import make_stage, stage_names
from tests.benchmarks.zoo.stage import Array, Output, Stage

STEREO = {"linked-pair"}
NOISY = {"quiet-hiss"}
NO_ONE_GAIN = {  # colour or filters: the factor of the gain cell is not all that happens to a tone
    "diode-leveller", "coloured-compressor", "deaf-to-bass", "core-colour", "even-colour", "odd-colour", "exact-colour",
    "aliasing-colour", "treble-lift", "bass-lift", "narrow-band", "quiet-hiss",
}  # fmt: skip
REST_S = {"optical-leveller": (12.0, 60.0), "slow-release": (0.7, 16.0), "two-stage-release": (3.0, 8.0)}
SETTLES = (0.7, 4.0)  # s, any other


def reference_stages() -> dict[str, Stage]:
    """Every mono reference stage but those that make noise of their own, which has no truth sample by sample."""
    return {name: _of(name) for name in stage_names() if name not in STEREO | NOISY}


def _of(name: str) -> Stage:
    device = make_stage(name)
    late, one_gain = device.truth.get("path.latency"), name not in NO_ONE_GAIN

    def process(sound: Array, rate_hz: int) -> Output:
        made = device.process(sound, rate_hz=rate_hz, rng=np.random.default_rng(5))
        return Output(made.samples, 10 ** (made.gain_db / 20) if one_gain else None)

    warm_s, calm_s = REST_S.get(name, SETTLES)
    late_s = 0.0 if late is None else late.value
    return Stage(
        name,
        device.summary,
        process,
        late_s,
        warm_s,
        calm_s,
        trace_is_gain=one_gain,
        ahead_s=0.0 if late_s else None,
    )
