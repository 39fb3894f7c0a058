"""Steady tones that nobody played: mains hum and other lines in the pauses of a capture."""

from __future__ import annotations

import math

import numpy as np

from charprobe.estimators.noise import (
    LEAST_MAINS_DBFS,
    MAINS_HZ,
    MAINS_OFF,
    MAINS_ORDERS,
    Line,
    family_limit_dbfs,
    hann_offset,
)
from charprobe.measuring.health.pauses.quiet import QuietSpectrum
from charprobe.placing.take import Take
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.values.arrays import Array
from charprobe.values.wording import number_text

LOW_HZ = 15.0
CLEAR = 12.0  # times the median power around; the largest of 4000 bins of noise reaches 4 in 8 frames
NEAR_BINS = 3  # a Hann window spreads a line over so many bins on each side
HANN_NOISE_BINS = 1.5
MEDIAN_OF_POWER = math.log(2)  # median of an exponential distribution over its mean
MAINS_OFF_HZ = 0.7  # by which a line of frames of 0.2 s may be read off
MOST_NAMED = 3
HARMLESS_DBFS = -105.0
AUDIBLE_HZ = 20.0
RUMBLE, LEAST_RUMBLE = 4.0, 10**-9.5  # times all other noise; and what moves no level by 0.01 dB
LEAST_RANGE_DB = 50.0  # from noise to the loudest sample: below, quiet steps and the ends of releases drown
LEAKS = 1e-3  # of a line's power that its window may show beside it


def foreign_lines(spectrum: QuietSpectrum) -> tuple[Line, ...]:
    """Lines that stand out of the noise around them, the strongest first."""
    power, around, bin_hz = spectrum.power, spectrum.around, spectrum.bin_hz
    # at half the rate a line is its own mirror
    power = np.concatenate((power[:-1], [power[-1] / 2, power[-2]]))
    inner = np.arange(1, around.size)
    peaks = inner[
        (power[1:-1] >= power[:-2])
        & (power[1:-1] > power[2:])
        & (power[1:-1] > CLEAR * around[1:])
        & (power[1:-1] > 10 ** (LEAST_MAINS_DBFS / 10))
        & (inner * bin_hz >= LOW_HZ)
    ]
    lines: list[Line] = []
    for peak in sorted(peaks, key=lambda i: -power[i]):
        offset, level = _apex(power[peak - 1 : peak + 2])
        frequency_hz = (peak + offset) * bin_hz
        if all(abs(frequency_hz - line.frequency_hz) > NEAR_BINS * bin_hz for line in lines):
            lines.append(Line(float(frequency_hz), 10 * math.log10(level)))
    return tuple(lines)


def noise_dbfs(spectrum: QuietSpectrum) -> float:
    """Level of everything in the pauses that is no line, 20 Hz to 20 kHz, a full-scale sine being 0 dBFS."""
    hz = np.arange(spectrum.around.size) * spectrum.bin_hz
    inside = spectrum.around[(hz >= 20) & (hz <= 20_000)]
    return 10 * math.log10(max(float(inside.sum()) / HANN_NOISE_BINS / MEDIAN_OF_POWER, 1e-30))


def check_foreign_tones(take: Take, spectrum: QuietSpectrum) -> list[Health]:
    """Tell lines that are louder together than all other noise: ``hum``, ``spur``, ``foreign-noise``."""
    lines = foreign_lines(spectrum)
    family, mains_hz = _mains(lines)
    others = [line for line in lines if line not in family]
    noise = 10 ** (noise_dbfs(spectrum) / 10)
    found = []
    if _power(family) > noise:
        found.append(_hum(take, max(family, key=lambda line: line.level_dbfs), mains_hz))
    if _power(others) > noise:
        found.append(_spur(take, others))
    elif spectrum.moving > noise:
        found.append(_whistle(take, 10 * math.log10(spectrum.moving)))
    rumble = rumble_power(spectrum)
    if rumble > RUMBLE * noise and rumble > LEAST_RUMBLE and rumble > LEAKS * _power(list(lines)):
        found.append(_rumble(take, 10 * math.log10(rumble)))
    return found


def check_range(take: Take, spectrum: QuietSpectrum, peak: float) -> list[Health]:
    """Tell noise that leaves too little range, or is louder than the quietest step: code ``low-level``."""
    level_dbfs = noise_dbfs(spectrum)
    range_db = 20 * math.log10(max(peak, 1e-12)) - level_dbfs
    steps = (tone.level_dbfs for one in take.stimulus.of_kind(LevelSteps) for tone in one.tones)
    if range_db >= LEAST_RANGE_DB and level_dbfs < min(steps, default=0.0) + take.alignment.gain_db:
        return []
    message = (
        f"Noise at {number_text(level_dbfs, 0)} dBFS lies only {number_text(range_db, 0)} dB below the "
        f"loudest sample ({take.label}): quiet steps, small harmonics, ends of releases and onsets of colour "
        "drown in it. Raise what is played, find the noise, and retake. All results are kept, "
        "with wider intervals"
    )
    return [Health("low-level", "warn", message, channel=take.channel)]


def rumble_power(spectrum: QuietSpectrum) -> float:
    """Power of what lies below hearing, from a few Hz to 20 Hz, re a full-scale sine."""
    frequency = np.arange(spectrum.power.size) * spectrum.bin_hz
    inside = (frequency > 0) & (frequency < AUDIBLE_HZ)
    return float(spectrum.power[inside].sum()) / HANN_NOISE_BINS / MEDIAN_OF_POWER


def _power(lines: list[Line]) -> float:
    return sum(10 ** (line.level_dbfs / 10) for line in lines)


def _mains(lines: tuple[Line, ...]) -> tuple[list[Line], float]:
    """Lines of the mains family that has more of them, and its frequency."""
    best: list[Line] = []
    best_hz = MAINS_HZ[0]
    for mains_hz in MAINS_HZ:
        family = [line for line in lines if _order(line, mains_hz) > 0]
        most_dbfs = family_limit_dbfs((_order(line, mains_hz), line) for line in family)
        family = [line for line in family if line.level_dbfs <= most_dbfs]
        if len(family) > len(best):
            best, best_hz = family, mains_hz
    return best, best_hz


def _order(line: Line, mains_hz: float) -> int:
    """Which multiple of the mains frequency a line is; 0 if none."""
    order = round(line.frequency_hz / mains_hz)
    off = abs(line.frequency_hz - order * mains_hz)
    near = off <= max(MAINS_OFF_HZ, MAINS_OFF * line.frequency_hz)
    return order if near and 1 <= order <= MAINS_ORDERS else 0


def _apex(three: Array) -> tuple[float, float]:
    """Offset in bins and power of a Hann-windowed line from the three bins around its peak."""
    offset = hann_offset(three)
    # amplitude that a Hann window gives a line so far from the bin, re one on the bin
    gain = np.sinc(offset) / (1 - offset**2)
    return offset, float(three[1] / gain**2)


def _hum(take: Take, strongest: Line, mains_hz: float) -> Health:
    message = (
        f"Hum: {mains_hz:.0f} Hz family, strongest {strongest.frequency_hz:.0f} Hz at "
        f"{number_text(strongest.level_dbfs, 0)} dBFS ({take.label}). Harmonics near those lines "
        "are doubtful; noise figures leave them out. Try other cabling, balanced links or one supply point; "
        "never lift a protective earth"
    )
    # noise figures leave these lines out, and one so low reaches no harmonic that is heard
    harmless = strongest.level_dbfs < HARMLESS_DBFS
    return Health("hum", "note" if harmless else "warn", message, channel=take.channel)


def _rumble(take: Take, level_dbfs: float) -> Health:
    message = (
        f"Rumble below {AUDIBLE_HZ:.0f} Hz at {number_text(level_dbfs, 0)} dBFS, louder than all other noise "
        f"({take.label}): a fan, traffic, or an offset that creeps? It reaches the noise figures and the "
        "first moments of an attack. Find its source, or switch on a low cut in the path, and retake. "
        f"{ALL_GIVEN}"
    )
    return Health("foreign-noise", "warn", message, channel=take.channel)


def _whistle(take: Take, level_dbfs: float) -> Health:
    message = (
        f"A tone that moves sounds in the pauses at {number_text(level_dbfs, 0)} dBFS, louder than all other "
        f"noise ({take.label}): clocks that beat, a converter's whistle? Noise figures contain it, and "
        "it passes under the tones. Find its source and retake"
    )
    return Health("spur", "warn", message, channel=take.channel)


def _spur(take: Take, lines: list[Line]) -> Health:
    named = ", ".join(
        f"{line.frequency_hz:.0f} Hz at {number_text(line.level_dbfs, 0)} dBFS" for line in lines[:MOST_NAMED]
    )
    more = f" and {len(lines) - MOST_NAMED} more" if len(lines) > MOST_NAMED else ""
    message = (
        f"Steady tone{'s' if len(lines) > 1 else ''} not in the stimulus: {named}{more} ({take.label}). "
        "USB noise, a screen, a switched supply or another sound? Noise figures contain it, and harmonics "
        "and quiet levels near it are doubtful. Find its source and retake"
    )
    return Health("spur", "warn", message, channel=take.channel)
