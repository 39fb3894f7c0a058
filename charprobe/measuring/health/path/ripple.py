"""Mains ripple that a path lays on its gain: every tone of a bypass swings by as much, at 100 or 120 Hz."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from charprobe.measuring.health.path.tone_noise import turned_still
from charprobe.placing.take import Take, once
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array
from charprobe.values.phasor import phasor
from charprobe.values.wording import number_text

RIPPLES_HZ, BETWEEN_HZ = (100.0, 120.0), (80.0, 140.0, 160.0)  # where it is, and where it is not
LEAST_SHARE = 5e-4  # of the gain: 0.004 dB moves no number
CLEAR = 5.0  # times what the tones swing by in between
SETTLED_FROM, BEFORE_END_S, LEAST_S = 0.3, 0.01, 0.08
LEAST_HZ = 400.0  # of a tone, whose own second harmonic is no ripple then
FEWEST = 8


@once
def check_ripple(bypass: Take) -> list[Health]:
    """Look for a gain that swings with the mains while the stage is off: code ``hum``.

    A stage may swing by itself, so only a bypass is judged. Sound that hums beside a tone leaves as much at
    every level, a gain that swings leaves the same share of every tone: the median over tones of all levels.
    """
    tones = [tone for tone in bypass.single_tones() if tone.frequency_hz > LEAST_HZ]
    loud = sorted(tones, key=lambda tone: -tone.level_dbfs)[: max(FEWEST, len(tones) // 2)]
    swings = [swing for tone in loud if (swing := _swings(bypass, tone)) is not None]
    if len(swings) < FEWEST:
        return []
    usual = np.median(swings, axis=0)
    share, between = usual[: len(RIPPLES_HZ)], float(usual[len(RIPPLES_HZ) :].max())
    most = int(np.argmax(share))
    if share[most] < max(LEAST_SHARE, CLEAR * between):
        return []
    message = (
        f"With the stage off the gain swings by {number_text(100 * float(share[most]), 2)} % at "
        f"{RIPPLES_HZ[most]:.0f} Hz ({bypass.label}): ripple of a supply. Short tones, noise beside "
        f"a tone and fast attacks carry it. Try another supply, and retake. {ALL_GIVEN}"
    )
    return [Health("hum", "warn", message, channel=bypass.channel)]


def _swings(take: Take, tone: Tone) -> Array | None:
    """Share by which a tone's size swings at each frequency; None where it is too short."""
    rate_hz = take.stimulus.rate_hz
    cut = take.cut(tone.start + SETTLED_FROM * tone.length, tone.stop - BEFORE_END_S * rate_hz)
    if cut.samples.size < LEAST_S * rate_hz:
        return None
    window = _window(cut.samples.size)
    size = turned_still(cut, tone, window, rate_hz=rate_hz).real * window
    beats = [np.vdot(phasor(0.0, hz / rate_hz, size.size), size) for hz in (*RIPPLES_HZ, *BETWEEN_HZ)]
    return np.asarray(2 * np.abs(beats) / max(float(size.sum()), 1e-30))


@lru_cache(maxsize=16)
def _window(count: int) -> Array:
    """Window of one tone; most are of a few lengths. Not to be changed."""
    return np.blackman(count)
