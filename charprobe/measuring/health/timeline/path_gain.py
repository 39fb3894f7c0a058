"""Whether the path's gain heeds level or edges with the stage off: limiters, companders, bent converters."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from charprobe.estimators.gain_drift import gain_drift
from charprobe.estimators.static.curve import FLOOR_DB
from charprobe.estimators.tone import order_amplitudes
from charprobe.measuring.health.timeline.steady_gain import (
    BEFORE_END_S,
    EXPLAINED,
    SETTLED_FROM,
    TOP_DB,
    gain_follows,
    tone_gain,
)
from charprobe.placing.take import BY_TONE, Take, once
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.stimulus.kinds.bursts import PhaseSet
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.phasor import phasor
from charprobe.values.quantity import DB_PER_NEPER
from charprobe.values.wording import number_text

LEAST_BEND_DB, SURE = 0.005, 5.0  # a path that bends so much moves a slope by its interval
MIDDLE_DBFS = -40.0  # from here to `TOP_DB` below full scale a tone says what gain the path has
BENDS_THIRD = 0.2  # third harmonic over the part a tone loses: 1/3 where a curve bends it, 0 in a limiter
LEAST_EDGE_DB = 0.02  # filters and couplings leave 0.001
AFTER_S, WINDOW_S = 0.003, 0.006  # filters have answered; companders and limiters move on
FEWEST, MANY = 2, 12
BAND = 0.45  # of the rate: converters fall off above
HIGHEST_MADE = 5  # order, within `BAND` of the rate
MOST_MADE = 1e-3  # of the tone: from -60 dB on a level that is asked for is the path's own


@once
def check_path_gain(bypass: Take) -> list[Health]:
    """Compare loud tones and the time after edges of a bypass with the rest of it.

    Codes ``automatic-gain`` where the gain follows the sound, ``clipped-below-full-scale`` where a curve
    bends loud tones: then their third harmonic is a third of what they lose.
    """
    edge_db = _edge_db(bypass)
    if edge_db > LEAST_EDGE_DB:
        return [gain_follows(bypass, f"moves by {number_text(edge_db, 2)} dB after the edges of bursts")]
    bend = _bend(bypass)
    if bend is None:
        steps = _level_step(bypass)
        return [gain_follows(bypass, steps)] if steps else _coloured(bypass)
    if bend.third < BENDS_THIRD * (1 - 10 ** (-bend.loss_db / 20)):
        return [gain_follows(bypass, f"is {number_text(bend.loss_db, 2)} dB lower at the loudest tones")]
    message = (
        f"The path bends with the stage off: tones at {number_text(bend.level_dbfs, 0)} dBFS come back "
        f"{number_text(bend.loss_db, 3)} dB lower, their third harmonic {number_text(bend.third_dbc, 0)} dBc "
        f"({bypass.label}). A player, preamp or converter is driven too hard, or the stage was on: slopes, "
        f"harmonics and make-up carry it. Lower its level and retake. {ALL_GIVEN}"
    )
    return [Health("clipped-below-full-scale", "warn", message, channel=bypass.channel)]


@dataclass(frozen=True)
class _Bend:
    """What the loudest tones lose, and their third harmonic over the fundamental."""

    level_dbfs: float
    loss_db: float
    third: float

    @property
    def third_dbc(self) -> float:
        return 20 * math.log10(self.third + 1e-12)


def _bend(take: Take) -> _Bend | None:
    """The largest loss of a loud tone against quieter ones of its frequency; None where none is sure."""
    tones = [t for s in take.stimulus.segments if s.spec.kind in BY_TONE for t in take.intact(s).tones]
    worst: _Bend | None = None
    for frequency_hz in {tone.frequency_hz for tone in tones}:
        same = [tone for tone in tones if tone.frequency_hz == frequency_hz]
        read = [(tone, gain) for tone in same if (gain := tone_gain(take, tone))]
        usual = [gain.gain_db for tone, gain in read if MIDDLE_DBFS < tone.level_dbfs <= -TOP_DB]
        loud = [(tone, gain) for tone, gain in read if tone.level_dbfs > -TOP_DB]
        if len(usual) < FEWEST or not loud:
            continue
        scatter_db = float(np.std(usual, ddof=1))
        for tone, gain in loud:
            loss_db = float(np.mean(usual)) - gain.gain_db
            sure = loss_db > max(LEAST_BEND_DB, SURE * math.hypot(gain.std_db, scatter_db))
            if sure and (worst is None or loss_db > worst.loss_db):
                worst = _Bend(tone.level_dbfs, loss_db, _third(take, tone))
    return worst


def _coloured(take: Take) -> list[Health]:
    """Loud tones that come back whole and yet with harmonics: code ``clipped-below-full-scale``."""
    worst = (0.0, 0, 0.0, 0.0)
    for tone in take.single_tones():
        if tone.level_dbfs > -TOP_DB and tone_gain(take, tone) is not None:
            for at, size in enumerate(_made(take, tone), start=2):
                worst = max(worst, (size, at, tone.frequency_hz, tone.level_dbfs))
    made, order, tone_hz, level_dbfs = worst
    if made < MOST_MADE:
        return []
    message = (
        f"The path colours with the stage off: a tone of {number_text(tone_hz, 0)} Hz at "
        f"{number_text(level_dbfs, 0)} dBFS comes back with harmonic {order} at "
        f"{number_text(20 * math.log10(made), 0)} dBc ({take.label}). A player, preamp or converter is "
        "driven too hard, or ill, or the stage was on. Intervals of harmonics reach over it. Lower its "
        f"level, try another input and retake. {ALL_GIVEN}"
    )
    return [Health("clipped-below-full-scale", "warn", message, channel=take.channel)]


def _level_step(take: Take) -> str:
    """A level at which the gain of all tones steps, in words: two converters share a range; "" if none."""
    read = [
        (tone, gain)
        for tone in take.single_tones()
        if tone.level_dbfs <= -TOP_DB and (gain := tone_gain(take, tone))
    ]
    if len(read) < MANY:
        return ""
    level, gain_db, std_db = np.array([(tone.level_dbfs, g.gain_db, g.std_db) for tone, g in read]).T
    _, group = np.unique([tone.frequency_hz for tone, _ in read], return_inverse=True)
    step = gain_drift(level, gain_db, std_db=np.hypot(std_db, FLOOR_DB), group=group.astype(float))
    if step.kind != "step" or abs(step.size_db) < LEAST_BEND_DB or step.explained < EXPLAINED:
        return ""
    return (
        f"steps by {number_text(abs(step.size_db), 3)} dB between tones of {number_text(step.before_s, 0)} "
        f"and {number_text(step.after_s, 0)} dBFS, as where two converters share the range"
    )


def _third(take: Take, tone: Tone) -> float:
    """Third harmonic of a tone over its fundamental; 1 where it lies beyond the band."""
    made = _made(take, tone)
    return made[1] if len(made) > 1 else 1.0


def _made(take: Take, tone: Tone) -> list[float]:
    """Harmonics 2 to `HIGHEST_MADE` of a tone over its fundamental, those inside the band."""
    rate_hz = take.stimulus.rate_hz
    highest = min(HIGHEST_MADE, int(BAND * rate_hz / tone.frequency_hz))
    if highest < 2:
        return []
    cut = take.cut(tone.start + SETTLED_FROM * tone.length, tone.stop - BEFORE_END_S * rate_hz)
    per_sample = tone.frequency_hz * cut.step / rate_hz
    sizes = order_amplitudes(cut.samples[None], cycles_per_sample=per_sample, orders=highest)[0].tolist()
    return [size / sizes[0] for size in sizes[1:]]


def _edge_db(take: Take) -> float:
    """Largest difference, in the mean over bursts, of the gain soon after an edge from that at last."""
    rate_hz, worst = take.stimulus.rate_hz, 0.0
    for segment in take.stimulus.segments:
        if not isinstance(segment.spec, PhaseSet) or not take.holds(segment):
            continue
        moved: dict[float, list[float]] = {}
        for tone in segment.tones:
            if tone.ramp or tone.length < 4 * (AFTER_S + WINDOW_S) * rate_hz:
                continue
            gains = [
                _size(take, tone, start)
                for start in (tone.start + AFTER_S * rate_hz, tone.stop - (AFTER_S + 2 * WINDOW_S) * rate_hz)
            ]
            if min(gains) > 0:
                moved.setdefault(tone.level_dbfs, []).append(DB_PER_NEPER * math.log(gains[0] / gains[1]))
        for each in moved.values():
            std_db = float(np.std(each)) / math.sqrt(len(each))
            worst = max(worst, abs(float(np.mean(each))) - 2 * std_db)
    return worst


def _size(take: Take, tone: Tone, start: float) -> float:
    """Amplitude of a tone within `WINDOW_S`, or four periods, from a stimulus position on."""
    rate_hz = take.stimulus.rate_hz
    cut = take.cut(start, start + max(WINDOW_S, 4 / tone.frequency_hz) * rate_hz)
    if cut.samples.size < 8:
        return 0.0
    n = cut.samples.size
    wave = phasor(0.0, tone.frequency_hz / rate_hz * cut.step, n)
    # an offset, and one that moves evenly
    basis = np.array([wave.real, wave.imag, np.ones(n), np.linspace(-1, 1, n)])
    fitted = np.linalg.solve(basis @ basis.T, basis @ cut.samples)
    return float(np.hypot(fitted[0], fitted[1]))
