"""Noise that was thinned out: what a noise suppressor or a coder leaves of it are scraps that come and go."""

from __future__ import annotations

import numpy as np

from charprobe.measuring.health.path.tone_noise import WORD_BITS
from charprobe.measuring.health.path.under_tones import bits_of, pause_db, rounding_db, under_tones
from charprobe.measuring.health.pauses.quiet import quiet_samples, quiet_spectrum
from charprobe.measuring.health.timeline.steady_gain import WITHHELD
from charprobe.placing.take import Take
from charprobe.profile.entry import Health
from charprobe.values.arrays import Array
from charprobe.values.fast_length import fast_length
from charprobe.values.median import median_over
from charprobe.values.wording import number_text

FRAME_S = 0.043  # as long as most of them judge sound by; half and twice as long show
AROUND_BINS, FEWEST = 64, 60
STEADY_DB = 5.5  # scatter of a bin of steady noise
LEAST_DB = 5.8  # what 60 frames do not reach by chance
LEAST_POWER = 1e-30
CLEAR_DB, FEWEST_TONES = 6.0, 8


def check_thinned_noise(take: Take) -> list[Health]:
    """Notice pauses whose noise was thinned out, bin by bin: code ``idle-mute``.

    The level of a narrow band scatters by 5.5 dB in noise of any colour, and as much where a gain swells it,
    for only its level re the bands around it counts.
    """
    levels = _levels_db(take)
    if levels.shape[0] < FEWEST:
        return []
    scatter_db = float(np.median(np.std(levels, axis=0)))
    if scatter_db < LEAST_DB:
        return []
    message = (
        f"Noise in the pauses is thinned out ({take.label}): narrow bands of it come and go by "
        f"{number_text(scatter_db, 1)} dB where steady noise varies by {STEADY_DB:g}: a noise suppressor, "
        "a clean-up tool or a coder. No noise figure is given. Switch it off, export what was recorded, "
        "and retake. The rest is kept, marked"
    )
    return [Health("idle-mute", "warn", message, channel=take.channel, withholds=("noise",))]


def check_suppressed_noise(bypass: Take) -> list[Health]:
    """Notice, with the stage off, noise that is there under tones and not in pauses: code ``automatic-gain``.

    A stage may do so, as gates do; a path adds the same noise to both. Pauses without any are those of a
    digital path: what 16 bits leave under tones is not asked about there.
    """
    spectrum, found = quiet_spectrum(bypass), under_tones(bypass)
    if spectrum is None or len(found) < FEWEST_TONES:
        return []
    quiet_db, rate_hz = pause_db(spectrum), bypass.stimulus.rate_hz
    bits = bits_of(bypass)
    if quiet_db.max() < rounding_db(bits, rate_hz):
        bits = WORD_BITS
    floor_db = np.maximum(quiet_db, rounding_db(bits, rate_hz))
    more_db = np.median([np.min(under.density_db - floor_db) for under in found])
    if more_db < CLEAR_DB:
        return []
    message = (
        f"With the stage off noise is {number_text(float(more_db), 0)} dB quieter in pauses than under tones "
        f"({bypass.label}): a noise suppressor or a gate is in the recording path and turns down all that "
        "is quiet. Turn it off and retake. Nothing of level or time is given"
    )
    return [Health("automatic-gain", "stop", message, channel=bypass.channel, withholds=WITHHELD)]


def _levels_db(take: Take) -> Array:
    """Level of every bin of every frame that is not digital silence, re the bins around it."""
    size = fast_length(round(FRAME_S * take.stimulus.rate_hz))
    window, count = np.hanning(size), size // 2 // AROUND_BINS
    frames = [np.empty((0, size))]
    for samples in quiet_samples(take):
        pieces = samples[: samples.size // size * size].reshape(-1, size)
        frames.append(pieces[np.any(pieces, axis=1)])
    power = np.abs(np.fft.rfft(np.concatenate(frames) * window, axis=1)) ** 2
    level_db = 10 * np.log10(power[:, : count * AROUND_BINS].reshape(-1, count, AROUND_BINS) + LEAST_POWER)
    level_db -= median_over(level_db, axis=2)[..., None]
    return np.asarray(level_db.reshape(-1, count * AROUND_BINS))
