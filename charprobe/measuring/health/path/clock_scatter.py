"""A clock whose edges scatter: noise under tones where they cross zero, and none of it at their tops."""

from __future__ import annotations

import math
from collections import defaultdict

import numpy as np

from charprobe.measuring.health.path.under_tones import BEFORE_END_S, LINE_BINS, SETTLED_FROM, line_window
from charprobe.placing.take import Take
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array
from charprobe.values.phasor import phasor
from charprobe.values.running_median import running_median
from charprobe.values.wording import number_text

LEAST_DBFS, LEAST_HZ = -30.0, 400.0  # of a tone that shows it
LEAST_TONE_S = 0.08
AROUND_BINS, LINE = 61, 3.0  # times the median size around, which no other line may exceed
LEAST_S = 2e-9  # of scatter that is told: the noise of most converters hides less
SURE, FEWEST_HZ = 5.0, 2  # standard uncertainties, at so many frequencies
ALIKE = 1.4  # ratio of what two frequencies tell: what follows the slope in a stage follows the gain, too


def check_clock_scatter(take: Take) -> list[Health]:
    """Ask when the noise under loud tones is loud: code ``clock-drift``. No stage moves time itself.

    An edge that comes late by t reads a tone of slope v off by v t: its noise goes as the square of the
    slope, is gone at the tops, and tells the same t at every frequency and level.
    """
    asked: dict[float, list[Tone]] = defaultdict(list)
    for tone in take.single_tones():
        if tone.level_dbfs >= LEAST_DBFS and tone.frequency_hz > LEAST_HZ:
            asked[tone.frequency_hz].append(tone)
    told = []
    for tones in sorted(asked.values(), key=len):  # every frequency must tell, so the fewest are read first
        each = [read for tone in tones if (read := _scatter(take, tone)) is not None]
        if not each:
            continue
        var, std = np.array(each).T
        weight = std**-2
        mean, known = float(var @ weight / weight.sum()), float(weight.sum()) ** -0.5
        if mean < max(LEAST_S**2, SURE * known):
            return []
        told.append(math.sqrt(mean))
    if len(told) < FEWEST_HZ or max(told) > ALIKE * min(told):
        return []
    scatter_ns = 1e9 * float(np.median(told))
    message = (
        f"The clock's edges scatter by {number_text(scatter_ns, 0)} ns ({take.label}): noise under loud and "
        "high tones, small harmonics and what is told of the stage's own noise carry it. Let the converter "
        f"run on its own clock, and retake. {ALL_GIVEN}"
    )
    return [Health("clock-drift", "warn", message, channel=take.channel)]


def _scatter(take: Take, tone: Tone) -> tuple[float, float] | None:
    """Squared scatter in s that the noise under a tone tells, and its standard uncertainty."""
    rate_hz = take.stimulus.rate_hz
    cut = take.cut(tone.start + SETTLED_FROM * tone.length, tone.stop - BEFORE_END_S * rate_hz)
    count = cut.samples.size
    if count < LEAST_TONE_S * rate_hz or not np.all(np.isfinite(cut.samples)):
        return None
    per_sample, window = tone.frequency_hz / rate_hz, line_window(count)
    turns = phasor(per_sample * (cut.start - tone.start), per_sample * cut.step, count)
    size = 2 * complex((cut.samples * turns.conj()) @ window) / float(window.sum())
    rest = _beside_harmonics(cut.samples * window, per_sample * cut.step)
    if size == 0 or rest is None:
        return None
    upright = turns * (size / abs(size))  # its real part is the tone
    power, scale = rest**2, float(window @ window)
    at_zeros = -2 * float(power @ (upright**2).real) / scale
    slope = abs(size) * 2 * math.pi * tone.frequency_hz
    chance = 2.5 * float(power.sum()) / scale / math.sqrt(count / 2)
    return 2 * at_zeros / slope**2, 2 * chance / slope**2


def _beside_harmonics(windowed: Array, turns_per_sample: float) -> Array | None:
    """What is left of a windowed tone without its harmonics, folded ones, and any other line."""
    spectrum = np.fft.rfft(windowed)
    spacing = turns_per_sample * windowed.size
    if spacing < 4 * LINE_BINS:
        return None
    at = np.arange(spectrum.size)
    free = np.abs(at - spacing * np.round(at / spacing)) > LINE_BINS
    kept = np.where(free, spectrum, 0.0)
    size = np.abs(kept[free])
    most = LINE * running_median(size, width=AROUND_BINS, beyond="symmetric", every=AROUND_BINS // 8)
    kept[free] *= np.minimum(1.0, most / np.maximum(size, 1e-30))
    return np.fft.irfft(kept, windowed.size) / math.sqrt(float(np.mean(free)))
