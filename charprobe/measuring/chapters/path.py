"""The path chapter: latency and polarity of the setting against its bypass."""

from __future__ import annotations

import math

from charprobe.placing.take import Take
from charprobe.profile.entry import NO_BYPASS, Chapter, Entry
from charprobe.profile.told import Told
from charprobe.values.quantity import Quantity, Reading, Unmeasured
from charprobe.values.wording import signed_text

LONGEST_S = 0.1  # a delay longer than this, or an early arrival, is a capture that was not started in step
EARLY_SAMPLES = 1.0
SURE = 2.0  # standard uncertainties


def path_chapter(wet: Take, bypass: Take | None) -> Chapter:
    """Compare when the stimulus arrives in the capture of a setting and in that of its bypass."""
    seconds, samples = _latency(wet, bypass)
    conditions = "both captures taken to start at the same moment of playing"
    if bypass is not None and bypass.source is wet.source:
        conditions = "two channels of one capture"
    entries = {
        "path.latency": Entry(seconds, conditions),
        "path.latency_samples": Entry(samples, conditions),
    }
    inverts = bypass is not None and wet.alignment.polarity != bypass.alignment.polarity
    told = (f"{Told.INVERTS}: what comes out has the other sign than through the bypass.",) if inverts else ()
    return Chapter(quantities=entries, words=lambda published: told)


def _latency(wet: Take, bypass: Take | None) -> tuple[Reading, Reading]:
    if bypass is None:
        return _both(NO_BYPASS, "record the bypass the same way and give it")
    rate_hz, samples = wet.stimulus.rate_hz, _later(wet, bypass)
    if not -EARLY_SAMPLES <= samples.value <= LONGEST_S * rate_hz:
        return _both(
            f"the stimulus lies {signed_text(samples.value / rate_hz, 3)} s later than in the bypass "
            "capture: the two were not started in step with playing",
            "record both with playing and recording started together, and do not trim the files",
        )
    seconds = Quantity(samples.value / rate_hz, samples.low / rate_hz, samples.high / rate_hz, "s")
    return seconds, samples


def _later(wet: Take, bypass: Take) -> Quantity:
    """How much later the setting is; clocks that surely differ leave open what half a take parts."""
    later = wet.alignment.later_than(bypass.alignment)
    one, two = wet.alignment.drift_ppm, bypass.alignment.drift_ppm
    apart_ppm = max(0.0, abs(one.value - two.value) - SURE * math.hypot(one.std, two.std))
    doubt = 1e-6 * apart_ppm * wet.stimulus.length / 2
    return Quantity(later.value, later.low - doubt, later.high + doubt, later.unit)


def _both(reason: str, following: str) -> tuple[Reading, Reading]:
    return Unmeasured("s", reason, following), Unmeasured("samples", reason, following)
