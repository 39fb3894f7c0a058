"""An offset that begins with the player: couplings hide it from the recorder, and a stage may hear it."""

from __future__ import annotations

import numpy as np

from charprobe.placing.take import Take
from charprobe.placing.track import finite
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.values.wording import number_text

BLOCK_S, FEWEST = 0.02, 12  # a period of the mains, and blocks ahead of the marker
LEAST, CLEAR = 3e-4, 8.0  # of full scale, and times what noise and hum move by
ONE_SIDED, RESTS = 0.3, 0.2  # of the largest: what swings back at most, and what is left at the marker


def check_early_offset(bypass: Take) -> list[Health]:
    """Look for a baseline that jumps and dies away before anything is played: code ``dc-offset``.

    That is what a coupling leaves of an offset that sets in as the player starts.
    """
    rate_hz = bypass.stimulus.rate_hz
    size = round(BLOCK_S * rate_hz)
    samples = finite(bypass.cut(-rate_hz, float(bypass.stimulus.opening.start)).samples)
    means = samples[samples.size % size :].reshape(-1, size).mean(axis=1)
    if means.size < FEWEST:
        return []
    means = means - np.median(means[-FEWEST // 2 :])
    at = int(np.argmax(np.abs(means)))
    course = means * np.sign(means[at])
    usual = 1.4826 * float(np.median(np.abs(np.diff(means))))
    dies_away = abs(course[-1]) < RESTS * course[at] and course.min() > -ONE_SIDED * course[at]
    if course[at] < max(LEAST, CLEAR * usual) or not dies_away:
        return []
    size_text = number_text(100 * float(course[at]), 2)
    message = (
        f"Ahead of the first marker the baseline jumps by {size_text} % of full scale and dies away "
        f"({bypass.label}): an offset that begins with the player, hidden behind couplings? A stage may hear "
        "it all the time: it moves levels, times and even harmonics. Measure what goes into the stage with a "
        f"meter for direct voltage while it plays. {ALL_GIVEN}"
    )
    return [Health("dc-offset", "warn", message, channel=bypass.channel)]
