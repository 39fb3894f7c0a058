"""Both edges of a burst through a device whose gain is a formula of time, and their times."""

import math

from burst_device import play, recipe

from charprobe.estimators.timing.edge.times import time_edge
from charprobe.estimators.timing.trace.trace_edges import trace_edges

PARTS = {"t50": 0.5, "t63": 1 - math.exp(-1), "t90": 0.9}


def times(device, rng, *, rate_hz=48_000, ppm=20.0, noise_dbfs=-110.0, **changes):
    bursts, wet, dry = play(
        recipe(**changes), device, rate_hz=rate_hz, ppm=ppm, rng=rng, noise_dbfs=noise_dbfs
    )
    attack, release = trace_edges(wet, bursts=bursts, bypass=dry)
    return time_edge(attack, rest_db=None), time_edge(release, rest_db=None)
