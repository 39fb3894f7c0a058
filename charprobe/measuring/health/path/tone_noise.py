"""Noise under steady tones: what a coder, a coarse stimulus or a rough conversion adds to a sound."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from charprobe.measuring.health.path.under_tones import (
    BANDS_HZ,
    BESIDE_BINS,
    LINE_BINS,
    MEDIAN_OF_POWER,
    UnderTone,
    bits_of,
    moves,
    pause_db,
    rounding_db,
)
from charprobe.measuring.health.pauses.quiet import QuietSpectrum
from charprobe.placing.take import Take
from charprobe.profile.entry import Health
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.arrays import Array, Flags
from charprobe.values.wording import number_text

FEWEST, FEWEST_RISEN = 4, 6
ALIKE_DB = 6.0  # by which gain and phase of a tone may differ in what a coder leaves: they hardly do
CLEAR_DB = 6.0  # of noise under a tone beyond what the stage's own gain does to noise; scatter is 0.3 dB
LEAST_SLOPE, SURE = 0.05, 3.0  # dB of noise per dB of tone, and how far a trend must outdo its scatter
WORD_BITS, BITS_OFF = 16, 0.2  # of many drivers, and how near to it; finer words lie under converters' noise
FOLDS_DB = 6.0  # by which what folds back is weaker than the harmonics that may
BAND_FOLDS_DB = 2.0  # the same for a whole band: even noise leaves 4 dB less at harmonics than in a band
RESTS_DB = 0.2  # of gain: a tone that is reduced by no more comes through a cell at rest
NEAR_TOP_DB = 6.0  # of gain: a gate has opened, a compressor has not closed yet
STEADY_DB = 2.0
REPEATS = 3.0  # times by which levels must differ more than repeats of one level
OTHER_RATES_HZ = (22_050, 24_000, 32_000, 44_100, 48_000, 88_200, 96_000)
IMAGE, IMAGE_OFF_BINS = 30.0, 2  # times the noise around: once in 10**9 bins by chance; the clock may be off
MORE_IMAGES, WIDE_DB = 5, 10.0  # levels of one tone that tell alone, and dB they span
IMAGES, IMAGE_SCATTER_DB = 3, 1.0  # a mirror is linear; what a coder or a room leaves there is not
ROUGHLY = ("static", "attack", "release", "colour", "response", "noise", "detector")
LOUD_DBFS = -20.0
ROUNDED_DBFS = -50.0  # from here on rounding a tone makes noise; below, it bends the tone
CODED = ("attack", "release", "colour", "noise")


def check_tone_noise(take: Take, found: Sequence[UnderTone], spectrum: QuietSpectrum) -> list[Health]:
    """Judge the noise under steady tones: codes ``lossy-coded``, ``few-bits`` and ``rate-converted``.

    A stage multiplies noise by the gain it has at a tone, or by less; its cell may hiss the more it reduces.
    Noise that sinks further under a loud tone than the gain does, or rises with the tone while no gain is
    reduced, is that of a coder, which puts its errors where the tone hides them. Noise that is that of
    rounding to 16 bits under every tone alike, while pauses are quieter, is that of a stimulus played without
    dither. Lines that mirror a tone at another sampling rate are a rough conversion's.
    """
    if len(found) < FEWEST:
        return []
    in_pauses_db = pause_db(spectrum)
    if converted := _converted(take, found, spectrum):  # coders of few bands mirror tones, too
        coded = _coded(take, found, in_pauses_db)
        return [replace(item, withholds=ROUGHLY) for item in coded] or converted
    return _coarsely_played(take, found, in_pauses_db) or _coded(take, found, in_pauses_db)


def _coded(take: Take, found: Sequence[UnderTone], quiet_db: Array) -> list[Health]:
    """Noise that follows the sound, beyond what gain does to noise and few bits leave."""
    bits = bits_of(take)
    if bits < WORD_BITS:
        return []
    gains = np.array([under.gain_db for under in found])
    levels = np.array([under.tone.level_dbfs + under.gain_db for under in found])
    change = gains - gains[int(np.argmin(levels))]
    density = np.stack([under.density_db for under in found])
    floor_db = np.maximum(quiet_db, rounding_db(bits, take.stimulus.rate_hz))
    sunk_db = np.minimum(change, 0)[:, None] - (density - floor_db)
    risen_db = density - floor_db - np.maximum(change, 0)[:, None]
    opened = change > -RESTS_DB
    quiet = levels <= np.percentile(levels, 25)  # where nothing is hidden yet, noise is that of the pauses
    hz = np.array([under.tone.frequency_hz for under in found])
    plain = np.array([under.beside_dbfs > under.harmonics_dbfs for under in found])
    repeats = [(under.tone.frequency_hz, round(under.tone.level_dbfs, 3)) for under in found]
    folding = np.array([under.folding_dbfs for under in found])
    widths_db = 10 * np.log10([high_hz - low_hz for low_hz, high_hz in BANDS_HZ])
    unfolded = density + widths_db > (folding + BAND_FOLDS_DB)[:, None]
    for sunk, risen, own in zip(sunk_db.T, risen_db.T, unfolded.T, strict=True):
        steady = float(np.std(sunk[quiet])) < STEADY_DB and _repeats(sunk, repeats)
        if bits > WORD_BITS and steady and np.count_nonzero(sunk > CLEAR_DB) >= FEWEST:
            return [_told(take, f"noise sinks by {number_text(float(sunk.max()), 0)} dB under loud tones")]
        # a coder of few bands raises its noise under the tones of one frequency only; where a stage makes
        # stronger harmonics than that, what folds back of them would look alike
        every = np.full(hz.size, True)
        groups = [(every, 2 * FEWEST), (plain, FEWEST_RISEN)]
        groups += [(each & (hz == one), fewest) for each, fewest in groups for one in np.unique(hz)]
        for tones, fewest in groups:
            rise_db = _rise_db(levels, risen, tones & own & opened & (risen > CLEAR_DB), fewest=fewest)
            if rise_db > 0:
                return [_told(take, f"noise rises by {number_text(rise_db, 0)} dB with the tone above it")]
    return []


def check_noise_beside_tones(take: Take, found: Sequence[UnderTone], spectrum: QuietSpectrum) -> list[Health]:
    """Judge the noise close to tones: code ``lossy-coded``.

    A stage moves a tone's gain, a clock its phase. Noise that rises with the tones and is neither is that of
    a coder that hides its errors beside them, where no tail of a room or second path explains it.
    """
    bits = bits_of(take)
    if len(found) < FEWEST or bits < WORD_BITS:
        return []
    floor_db = max(float(pause_db(spectrum)[0]), rounding_db(bits, take.stimulus.rate_hz))
    quietest = min(found, key=lambda under: under.tone.level_dbfs + under.gain_db)
    for hz in sorted({under.tone.frequency_hz for under in found}):
        tones = [under for under in found if under.tone.frequency_hz == hz and _unfolded(under)]
        levels = np.array([under.tone.level_dbfs + under.gain_db for under in tones])
        own_db = np.array([floor_db + max(0.0, under.gain_db - quietest.gain_db) for under in tones])
        risen = np.array([under.near_db for under in tones]) - own_db
        high = risen > CLEAR_DB
        if _rise_db(levels, risen, high, fewest=FEWEST_RISEN) <= 0:
            continue
        irregular = np.array([_irregular_db(take, under.tone) for under in tones]) - own_db
        alike = np.median(risen[high] - irregular[high]) < ALIKE_DB
        if alike and np.median(irregular[high]) > CLEAR_DB:
            return [
                _told(take, f"noise {number_text(float(risen.max()), 0)} dB above the rest lies beside tones")
            ]
    return []


def _unfolded(under: UnderTone) -> bool:
    """Whether the noise beside a tone is more than its harmonics can leave there by folding back."""
    ring_db = under.near_db + 10 * math.log10(2 * BESIDE_BINS * under.bin_hz)
    return ring_db > under.folding_dbfs + FOLDS_DB


def _irregular_db(take: Take, tone: Tone) -> float:
    """Density close to a tone of the lesser of what its gain and its phase move by, in dBFS per Hz."""
    first, last = LINE_BINS + 1, LINE_BINS + 1 + BESIDE_BINS
    least = min(float(np.median(each[first:last])) for each in moves(take, tone)[:2]) + 1e-30
    # each of the two holds half of what lies on both sides; as densities of the tone's own two sides
    return 10 * math.log10(2 * least * (4 / take.stimulus.rate_hz) / MEDIAN_OF_POWER + 1e-30)


def _rise_db(levels: Array, risen: Array, high: Flags, *, fewest: int) -> float:
    """By how much noise clearly rises with the level of some tones; 0 where it does not, or too few tell."""
    if np.count_nonzero(high) < fewest:
        return 0.0
    slope, start = np.polyfit(levels[high], risen[high], 1)
    left = float(np.std(risen[high] - slope * levels[high] - start))
    rise_db = float(slope * np.ptp(levels[high]))
    return rise_db if slope > LEAST_SLOPE and rise_db > max(SURE * left, 0.8 * CLEAR_DB) else 0.0


def _repeats(values: Array, keys: Sequence[tuple[float, float]]) -> bool:
    """Whether what is played twice shows the same twice: noise that comes and goes by itself does not."""
    groups = [[v for v, key in zip(values, keys, strict=True) if key == one] for one in set(keys)]
    within = [float(np.var(group, ddof=1)) for group in groups if len(group) > 1]
    return bool(within) and float(np.var(values)) > REPEATS * float(np.mean(within))


def noise_repeats(found: Sequence[UnderTone]) -> bool:
    """Whether what lies beside tones is the same whenever they are played: sounds come and go."""
    keys = [(under.tone.frequency_hz, round(under.tone.level_dbfs, 3)) for under in found]
    return bool(found) and _repeats(np.array([under.beside_dbfs for under in found]), keys)


def _told(take: Take, what: str) -> Health:
    text = (
        f"Noise follows the sound: {what} ({take.label}): coded with loss, as by a "
        "wireless link or a compressed file. Harmonics, noise and times are the coder's. Record by cable, "
        "export WAV or FLAC, and retake. The rest is kept, marked"
    )
    return Health("lossy-coded", "stop", text, channel=take.channel, withholds=CODED)


def _coarsely_played(take: Take, found: Sequence[UnderTone], quiet_db: Array) -> list[Health]:
    """Noise under every tone that is that of a whole number of bits, times the gain."""
    rate_hz = take.stimulus.rate_hz
    top = max(under.gain_db for under in found)
    opened = [
        under for under in found if under.gain_db > top - NEAR_TOP_DB and under.tone.level_dbfs > ROUNDED_DBFS
    ]
    excess_db = np.array([under.density_db[0] - quiet_db[0] for under in opened])
    if len(opened) < FEWEST or np.count_nonzero(excess_db > CLEAR_DB / 2) < 0.8 * len(opened):
        return []
    own = np.array([10 ** (under.density_db[0] / 10) for under in opened]) - 10 ** (quiet_db[0] / 10)
    played_db = 10 * np.log10(np.maximum(own, 1e-30)) - np.array([under.gain_db for under in opened])
    off = (played_db - rounding_db(WORD_BITS, rate_hz)) / 6.0206
    if np.count_nonzero(np.abs(off) < BITS_OFF) < 0.8 * len(opened):
        return []
    text = (
        f"Every tone carries the noise of {WORD_BITS} bits, pauses do not ({take.label}): the stimulus was "
        f"played in {WORD_BITS} bits without dither. Noise figures beside a tone and harmonics at -98 dBFS "
        "are the player's. Play the file in a 24-bit format, and retake if they matter. All results are kept"
    )
    return [Health("few-bits", "warn", text, channel=take.channel)]


def _converted(take: Take, found: Sequence[UnderTone], spectrum: QuietSpectrum) -> list[Health]:
    """Lines that mirror tones at another sampling rate, as far below a tone whatever its level."""
    rate_hz = take.stimulus.rate_hz
    for other_hz in OTHER_RATES_HZ:
        if other_hz == rate_hz or not rate_hz / 3 < other_hz < 2.5 * rate_hz:
            continue
        seen: dict[float, list[tuple[float, float]]] = {}
        for under in found:
            if (image_db := _image_db(under, abs(rate_hz - other_hz), spectrum)) is not None:
                level_dbfs = under.tone.level_dbfs + under.gain_db
                seen.setdefault(under.tone.frequency_hz, []).append((level_dbfs, level_dbfs - image_db))
        loud = [np.array([down for level, down in one if level > LOUD_DBFS]) for one in seen.values()]
        steady = [down for down in loud if down.size >= IMAGES and np.std(down) < IMAGE_SCATTER_DB]
        # a line as far below one tone at all its levels will do, where a stage's harmonics hide the others
        alone = [down for level, down in map(np.transpose, seen.values()) if _mirrors(level, down)]
        if len(steady) > 1 or alone:
            nearest_db = min(float(np.mean(down)) for down in (*steady, *alone))
            text = (
                f"Tones are mirrored at {number_text(other_hz / 1e3, 1)} kHz, {number_text(nearest_db, 0)} "
                f"dB down ({take.label}): converted to that sampling rate or from it by a rough filter. "
                "Treble, its response and high harmonics are the converter's. Record and play at the rate of "
                "the stimulus, switch conversions off, and retake. Latency is kept, everything else withheld"
            )
            return [Health("rate-converted", "stop", text, channel=take.channel, withholds=ROUGHLY)]
    return []


def _mirrors(level_dbfs: Array, down_db: Array) -> bool:
    """Whether a line lies as far below a tone at every level, over a wide span of them."""
    wide = level_dbfs.size >= MORE_IMAGES and float(np.ptp(level_dbfs)) > WIDE_DB
    return wide and float(np.std(down_db)) < IMAGE_SCATTER_DB / 3


def _image_db(under: UnderTone, between_hz: float, spectrum: QuietSpectrum) -> float | None:
    """Level in dBFS of a line at the tone's mirror images; None if none stands out or pauses have it."""
    best = None
    for image_hz in (abs(between_hz - under.tone.frequency_hz), between_hz + under.tone.frequency_hz):
        order = round(image_hz / under.tone.frequency_hz)
        beside_hz = abs(image_hz - order * under.tone.frequency_hz)
        middle = round(image_hz / under.bin_hz)
        reach = LINE_BINS + IMAGE_OFF_BINS
        if (
            beside_hz < (LINE_BINS + 1) * under.bin_hz
            or not 5 * reach < middle < under.power.size - 5 * reach
        ):
            continue
        near = under.power[middle - IMAGE_OFF_BINS : middle + IMAGE_OFF_BINS + 1]
        around = np.concatenate(
            [
                under.power[middle - 5 * reach : middle - reach],
                under.power[middle + reach : middle + 5 * reach],
            ]
        )
        least = float(near.max()) * MEDIAN_OF_POWER / IMAGE
        # where fewer than half lie below it, so does the median not, and need not be known
        if 2 * np.count_nonzero(around < least) < around.size or least <= float(np.median(around)):
            continue
        at = middle - IMAGE_OFF_BINS + int(np.argmax(near))
        level = 10 * math.log10(float(under.power[at - LINE_BINS : at + LINE_BINS + 1].sum()) * under.bin_hz)
        steady = round(at * under.bin_hz / spectrum.bin_hz)
        quiet = float(spectrum.power[max(0, steady - 2) : steady + 3].max(initial=0.0))
        if 10 * math.log10(quiet + 1e-30) < level - 6 and (best is None or level > best):
            best = level
    return best
