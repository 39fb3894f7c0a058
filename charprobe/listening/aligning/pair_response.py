"""Linear response of the processed sound against the dry, from the material itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from charprobe.files.sound.frames import Frames, read_padded
from charprobe.values.arrays import Array
from charprobe.values.wording import number_text

MAX_WINDOWS = 240
_USED_BAND = 0.8  # of half the sampling rate: a converter's own band edge is not the device's response
_LOWEST_HZ = 20.0
_PER_OCTAVE = 40
REACH_S = 0.1  # from a sound to its second copy
_LEAST_POWER, _LEAST_COHERENCE = 1e-9, 0.5  # re the strongest band; below, a band tells nothing


@dataclass(frozen=True)
class Spectra:
    """Averaged spectra of a pair on one clock; arrays of shape (bins, channels).

    `dry` and `processed` are powers, `cross` is conj(dry) * processed.
    """

    size: int
    rate_hz: int
    dry: Array
    processed: Array
    cross: np.ndarray[tuple[int, ...], np.dtype[np.complex128]]

    @property
    def frequency_hz(self) -> Array:
        """Frequency of each bin."""
        return np.asarray(np.fft.rfftfreq(self.size, 1 / self.rate_hz))

    @property
    def transfer(self) -> np.ndarray[tuple[int, ...], np.dtype[np.complex128]]:
        """Response dry to processed; 0 where the dry sound holds next to nothing (-100 dB)."""
        return np.asarray(self.cross / (self.dry + 1e-10 * self.dry.max(axis=0) + 1e-30))


def pair_spectra(dry: Frames, processed: Frames, *, dry_channels: tuple[int, ...], size: int) -> Spectra:
    """Average spectra over windows of `size` frames spread over a pair on one clock."""
    window = np.hanning(size)[:, None]
    hop = max(size // 2, (dry.frames - size) // MAX_WINDOWS)
    shape = (size // 2 + 1, processed.channels)
    power_dry, power_processed, cross = np.zeros(shape), np.zeros(shape), np.zeros(shape, dtype=np.complex128)
    for start in range(0, max(dry.frames - size, 0) + 1, hop):
        x = scipy.fft.rfft(read_padded(dry, start, start + size)[:, dry_channels] * window, axis=0)
        y = scipy.fft.rfft(read_padded(processed, start, start + size) * window, axis=0)
        power_dry += np.abs(x) ** 2
        power_processed += np.abs(y) ** 2
        cross += np.conj(x) * y
    return Spectra(size, dry.rate_hz, power_dry, power_processed, cross)


def minimum_phase(spectra: Spectra, *, taps: int) -> Array:
    """Impulse response with the measured magnitude, smoothed over a twelfth of an octave, and minimum phase.

    Outside 20 Hz to 0.8 of half the sampling rate, and where the sound holds too little, the magnitude is
    held. Scaled to unit gain at its median, as the gain is fitted apart. Shape (taps, channels).
    """
    magnitude = np.stack([_smoothed(spectra, channel) for channel in range(spectra.dry.shape[1])], axis=1)
    log = np.log(magnitude / np.median(magnitude, axis=0))
    cepstrum = scipy.fft.irfft(log, spectra.size, axis=0)
    fold = np.zeros((spectra.size, 1))
    fold[0] = fold[spectra.size // 2] = 1.0
    fold[1 : spectra.size // 2] = 2.0
    impulse = scipy.fft.irfft(np.exp(scipy.fft.rfft(cepstrum * fold, axis=0)), spectra.size, axis=0)[:taps]
    fade = np.ones(taps)
    fade[taps // 2 :] = np.cos(np.linspace(0, np.pi / 2, taps - taps // 2)) ** 2
    return np.asarray(impulse * fade[:, None])


def _smoothed(spectra: Spectra, channel: int) -> Array:
    """Magnitude at each bin: cross over dry energy in bands, so that bins between partials do not count."""
    frequency_hz = spectra.frequency_hz
    top_hz = _USED_BAND * frequency_hz[-1]
    fine = np.geomspace(_LOWEST_HZ, top_hz, round(_PER_OCTAVE * np.log2(top_hz / _LOWEST_HZ)))
    half = np.maximum(fine * (2 ** (1 / 24) - 1), 1.5 * frequency_hz[1])
    edges = np.searchsorted(frequency_hz, [fine - half, fine + half])
    dry, processed, cross = (
        np.diff(_running(values[:, channel])[edges], axis=0)[0]
        for values in (spectra.dry, spectra.processed, spectra.cross)
    )
    sure = (dry > _LEAST_POWER * dry.max()) & (np.abs(cross) ** 2 > _LEAST_COHERENCE * dry * processed)
    if not sure.any():
        return np.ones(frequency_hz.size)
    log = np.log(np.abs(cross[sure]) / dry[sure])
    log = scipy.ndimage.uniform_filter1d(np.interp(np.log(fine), np.log(fine[sure]), log), 5, mode="nearest")
    return np.asarray(np.exp(np.interp(np.log(np.maximum(frequency_hz, 1e-3)), np.log(fine), log)))


def _running(values: NDArray[Any]) -> NDArray[Any]:
    return np.concatenate([[0.0], np.cumsum(values)])


@dataclass(frozen=True)
class SecondPath:
    """A second copy of the dry sound in the processed file: later by `delay_s` (earlier if negative)."""

    delay_s: float
    level_db: float

    @property
    def text(self) -> str:
        """What it is, in a sentence or two."""
        when = "later" if self.delay_s > 0 else "earlier"
        return (
            f"Holds the dry sound twice: a second copy {1e3 * abs(self.delay_s):.2f} ms {when} at "
            f"{number_text(self.level_db, 1)} dB. Direct monitoring or a parallel path?"
        )


def find_second_path(spectra: Spectra) -> SecondPath | None:
    """Look for a second, compact arrival in the impulse response, at most 30 dB below the first.

    Sought from 0.6 ms to `REACH_S` on both sides of the first. It must stand out by 12 dB from all else
    around it: the tail of a filter or a room does not.
    """
    regular = spectra.dry + 1e-4 * spectra.dry.max(axis=0) + 1e-30
    impulse = np.abs(scipy.fft.irfft(spectra.cross / regular, spectra.size, axis=0)).max(axis=1)
    reach, guard = round(REACH_S * spectra.rate_hz), round(0.6e-3 * spectra.rate_hz)
    line = np.concatenate([impulse[-reach:], impulse[: reach + 1]])
    main = float(line[reach])
    outside = line.copy()
    outside[reach - guard : reach + guard + 1] = 0.0
    peak = int(np.argmax(outside))
    near = outside[max(0, peak - 4 * guard) : peak + 4 * guard + 1].copy()
    centre = min(peak, 4 * guard)
    near[max(0, centre - guard // 2) : centre + guard // 2 + 1] = 0.0
    rest = max(float(np.percentile(near, 95)), float(np.percentile(outside, 99)))
    if main <= 0 or outside[peak] < main * 10 ** (-30 / 20) or outside[peak] < 4 * rest:
        return None
    return SecondPath((peak - reach) / spectra.rate_hz, float(20 * np.log10(outside[peak] / main)))
