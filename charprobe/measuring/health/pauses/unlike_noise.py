"""What sounds in all pauses and is neither a tone nor noise: data, time code, a clock that hops."""

from __future__ import annotations

import numpy as np

from charprobe.measuring.health.path.under_tones import bits_of
from charprobe.measuring.health.pauses.quiet import quiet_samples
from charprobe.placing.take import Take
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.values.arrays import Array
from charprobe.values.fast_length import fast_length_within
from charprobe.values.running_median import running_median
from charprobe.values.wording import number_text

FROM_HZ, TO_HZ = 500.0, 20_000.0  # hum lies below
AROUND_BINS, LINE = 61, 3.0  # times the median size around: what stands out of it is a line, told elsewhere
LEAST_FLATNESS, SURE = 0.3, 6.0  # by which peaks are lower than those of noise, and standard uncertainties
LEAST_STEPS = 2.0  # RMS of the words in use: rounding leaves few values, too
WITHIN_S = 0.05  # so long a gain keeps still that lets noise through
PEAKED = 1.5  # by which the peaks of noise that comes in bursts are higher: a tenth of the time, 27


def check_unlike_noise(take: Take) -> list[Health]:
    """Ask whether what the pauses hold beside lines has the peaks of noise: code ``foreign-noise``.

    The fourth moment of noise is three times its squared power, whatever its colour, and more where it comes
    and goes; a signal that hops between few values has less. Noise of an effective number of n values
    scatters by the root of 24/n. What comes and goes as the stage's gain moves does so slowly.
    """
    rate_hz = take.stimulus.rate_hz
    heard = [beside for piece in quiet_samples(take) if (beside := _beside_lines(piece, rate_hz))]
    if not heard:
        return []
    power, flatness, count, peaked = np.array(heard).T
    if np.median(power) < (LEAST_STEPS * 2.0 ** (1 - bits_of(take))) ** 2:
        return []
    level_dbfs = 10 * float(np.log10(2 * np.median(power)))
    if np.median(peaked) > PEAKED:
        message = (
            f"Noise in the pauses, {number_text(level_dbfs, 0)} dBFS, comes in bursts shorter than "
            f"{number_text(1e3 * WITHIN_S, 0)} ms ({take.label}): a switched supply or a dimmer hisses with "
            "the mains, or a contact crackles. It is under the tones, too, where it looks like clicks, and "
            f"noise figures are its own. Find its source, lay cables apart, and retake. {ALL_GIVEN}"
        )
        first_s, last_s = take.capture_time_s(float(take.stimulus.opening.stop)), take.source.frames / rate_hz
        return [Health("foreign-noise", "warn", message, take.channel, first_s, last_s)]
    # the median, for a tail of what was played peaks in some
    if np.median(flatness) < max(LEAST_FLATNESS, SURE * float(np.sqrt(24 / np.median(count)))):
        return []
    message = (
        f"What sounds in the pauses at {number_text(level_dbfs, 0)} dBFS is neither noise nor a tone "
        f"({take.label}): data, time code or a clock leaks in. It is under the tones, too, and noise "
        f"figures are its own. Find its source, lay cables apart, and retake. {ALL_GIVEN}"
    )
    return [Health("foreign-noise", "warn", message, channel=take.channel)]


def _beside_lines(samples: Array, rate_hz: float) -> tuple[float, float, float, float] | None:
    """Power of a pause without lines, its peaks below those of noise, the effective number of its values.

    Last, by how much its peaks are higher than those of noise within short pieces of it.
    """
    if samples.size < 4 * AROUND_BINS:
        return None
    samples = samples[: fast_length_within(samples.size)]
    spectrum = np.fft.rfft(samples)
    hz = np.arange(spectrum.size) * rate_hz / samples.size
    inside = np.flatnonzero((hz > FROM_HZ) & (hz < TO_HZ))
    if inside.size < 2 * AROUND_BINS:
        return None
    size = np.abs(spectrum[inside])
    most = LINE * running_median(size, width=AROUND_BINS, beyond="symmetric", every=AROUND_BINS // 4)
    kept = np.zeros_like(spectrum)
    kept[inside] = spectrum[inside] * np.minimum(1.0, most / np.maximum(size, 1e-30))
    squared, each = np.fft.irfft(kept, samples.size) ** 2, np.abs(kept[inside]) ** 2
    power = float(np.mean(squared))
    if power <= 0.0:
        return None
    pieces = squared[: squared.size // (short := round(WITHIN_S * rate_hz)) * short].reshape(-1, short)
    peaked = float(np.median(np.mean(pieces**2, axis=1) / np.mean(pieces, axis=1) ** 2)) - 3
    count = 4 * float(each.sum() ** 2 / (each @ each))
    return power, 3 - float(np.mean(squared**2)) / power**2, count, peaked
