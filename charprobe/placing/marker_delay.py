"""Where in a capture a sync marker lies, to a small part of a sample: the slope of its phase."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from charprobe.files.sound.source import Source
from charprobe.placing.track import finite
from charprobe.stimulus.marker import Marker, sync_length, sync_value
from charprobe.values.arrays import Array, Complex

MARGIN_S = 0.005  # read on both sides of the marker, for what the path delays or smears
FIT_LOW_HZ, FIT_HIGH_HZ = 300.0, 14_500.0  # inside the marker's band, clear of its tapered ends
REACH_SAMPLES = 24  # how far the first guess may be off: half a sample and a clock 500 ppm off
FINENESS = 4  # correlation points per sample, so that no phase needs unwrapping
ROUNDS = 3  # each one makes an error of the phase its third power
CLEARLY_BETTER = 20.0  # chi-square of one more term: noise alone gives this once in 100 000
TRUSTED = 0.5  # part of what the extra terms moved the delay by that stays in the uncertainty
GRID = 4096  # points of the magnitude whose least phase is taken
SUB_BANDS = 12  # left out one at a time to see what the path's own phase does to the slope


@dataclass(frozen=True)
class PathResponse:
    """What a path makes of a marker, relative to a marker that starts at `index` and runs at `step`.

    Attributes
    ----------
    index : float
        Capture index of the marker's first sample, as assumed.
    omega : ndarray, shape (n,)
        Angular frequency in rad per capture sample.
    response : ndarray of complex, shape (n,)
        Spectrum of the capture over that of the marker of amplitude 1.
    weight : ndarray, shape (n,)
        Inverse variance of a relative error of `response`, up to one factor.
    """

    index: float
    omega: Array
    response: Complex
    weight: Array


@dataclass(frozen=True)
class Slope:
    """A delay and its standard uncertainty in capture samples, the phase at frequency 0, and the gain."""

    delay: float
    std: float
    phase_rad: float
    gain: float

    @property
    def polarity(self) -> int:
        """1, or -1 where the path inverts."""
        return 1 if np.cos(self.phase_rad) > 0 else -1

    @property
    def gain_db(self) -> float:
        """The gain in dB."""
        return float(20 * np.log10(self.gain))


@dataclass(frozen=True)
class PathPhase:
    """Phase of a path over frequency, its delay taken off; frequencies are in cycles per sample."""

    frequency: Array
    phase_rad: Array

    def covers(self, frequency: float) -> bool:
        """Tell whether a frequency lies where the marker shows the phase."""
        return bool(self.frequency[0] <= frequency <= self.frequency[-1])

    def phase_at(self, frequency: Array) -> Array:
        """Phase in rad at frequencies the marker covers."""
        return np.interp(frequency, self.frequency, self.phase_rad)


def phase_of(path: PathResponse, delay: float) -> PathPhase:
    """Phase of a path response without a delay counted from its `index`."""
    smooth = _smooth(path.response * np.exp(1j * path.omega * delay))
    return PathPhase(path.omega / (2 * np.pi), np.unwrap(np.angle(smooth)))


def path_response(
    source: Source, channel: int, marker: Marker, *, index: float, step: float, rate_hz: float
) -> PathResponse:
    """Measure what the path made of one marker.

    Parameters
    ----------
    source, channel
        The capture and its channel.
    marker : "opening" or "closing"
        Which marker.
    index : float
        Capture index of its first sample, to within `REACH_SAMPLES`; refined to about 0.1 sample here.
    step : float
        Stimulus samples per capture sample.
    rate_hz : float
        Sampling rate of the stimulus.

    Notes
    -----
    The marker is evaluated from its closed form at the very positions the recorder sampled, so neither a
    fractional delay nor a foreign clock is interpolated anywhere.
    """
    margin = round(MARGIN_S * rate_hz)
    size = sync_length(rate_hz) + 2 * margin
    first = round(index) - margin
    samples = np.zeros(size)
    start, stop = max(0, first), min(source.frames, first + size)
    if stop > start:
        samples[start - first : stop - first] = finite(source.read(start, stop, channel))
    places = np.arange(first, first + size)
    for _ in range(2):
        shape = sync_value(marker, (places - index) * step, rate_hz=rate_hz)
        cross = np.fft.rfft(samples) * np.fft.rfft(shape).conj()
        moved = _peak(cross, size)
        if moved == 0.0:
            break
        index += moved
    energy = np.abs(np.fft.rfft(shape)) ** 2
    omega = 2 * np.pi * np.arange(energy.size) / size
    kept = (omega >= 2 * np.pi * FIT_LOW_HZ / rate_hz) & (omega <= 2 * np.pi * FIT_HIGH_HZ / rate_hz)
    response = cross[kept] / energy[kept]
    return PathResponse(index, omega[kept], response, energy[kept] * np.abs(_smooth(response)) ** 2)


def delay_of(path: PathResponse) -> Slope:
    """Fit a delay and a constant phase to a path response.

    Notes
    -----
    Weighted least squares of the phase on frequency. A device's own phase is no delay: a multiple of the
    least phase that goes with its magnitude (shelves, bells), and one of 1/frequency (coupling capacitors
    below the band), join the fit where they explain the phase clearly better. The multiple is fitted because
    gain that changes during the chirp looks like magnitude, but brings no phase. The uncertainty is the
    larger of that of a white residual and of the scatter when each of `SUB_BANDS` parts of the band is left
    out, which shows phase that none of this explains.
    """
    centre, delay = 0.0, 0.0
    for _ in range(ROUNDS):
        turned = path.response * np.exp(1j * (path.omega * delay - centre))
        smooth = _smooth(turned)
        magnitude = np.maximum(np.abs(smooth), 1e-300)
        middle = float(np.angle(np.sum(path.weight * smooth)))
        phase = np.imag(turned * np.exp(-1j * middle)) / magnitude
        columns = [np.ones_like(path.omega), -path.omega]
        plain = best = _fit(columns, phase, path.weight)
        for extra in (_least_phase(path.omega, magnitude), 1 / path.omega):
            tried = _fit([extra, *columns], phase, path.weight)
            gained = (best.residual - tried.residual) / max(tried.residual / phase.size, 1e-300)
            if gained > CLEARLY_BETTER:
                columns, best = [extra, *columns], tried
        delay += float(best.solution[-1])
        centre += middle + float(best.solution[-2])
    moved = TRUSTED * abs(float(best.solution[-1] - plain.solution[-1]))
    gain = float(np.sqrt(np.sum(path.weight * magnitude**2) / np.sum(path.weight)))
    return Slope(delay=delay, std=float(np.hypot(best.std, moved)), phase_rad=centre, gain=gain)


def delay_between(first: PathResponse, second: PathResponse) -> tuple[float, float]:
    """Delay of `second` beyond `first`, each from its own `index`, and its standard uncertainty, in samples.

    The path's own phase is in both and drops out, so only noise and change are left in the uncertainty.
    """
    ratio = second.response * first.response.conj()
    weight = 1 / (1 / np.maximum(first.weight, 1e-300) + 1 / np.maximum(second.weight, 1e-300))
    delay = 0.0
    for _ in range(ROUNDS):
        turned = ratio * np.exp(1j * first.omega * delay)
        phase = np.imag(turned) / np.maximum(np.abs(_smooth(turned)), 1e-300)
        fit = _fit([-first.omega], phase, weight)
        delay += float(fit.solution[-1])
    return delay, fit.std


@dataclass(frozen=True)
class _Fit:
    solution: Array
    std: float  # of the last coefficient
    residual: float  # weighted sum of squares


def _fit(columns: list[Array], phase: Array, weight: Array) -> _Fit:
    basis = np.stack(columns, axis=1)
    basis_scale = np.sqrt(np.mean(basis**2, axis=0)) + 1e-300
    basis = basis / basis_scale
    weighted = basis * weight[:, None]
    normal, right = weighted.T @ basis, weighted.T @ phase
    solution = np.linalg.lstsq(normal, right, rcond=1e-14)[0]
    residual = float(np.sum(weight * (phase - basis @ solution) ** 2))
    variance = residual / (phase.size - solution.size)
    parts = zip(*(np.array_split(each, SUB_BANDS) for each in (weighted, basis, phase)), strict=True)
    taken = [(heavy.T @ light, heavy.T @ seen) for heavy, light, seen in parts]
    normals, rights = (np.stack(each) for each in zip(*taken, strict=True))
    inverses = np.linalg.pinv(np.concatenate([normal[None], normal - normals]), rcond=1e-14)[:, -1]
    white = float(np.sqrt(variance * inverses[0, -1]))
    left_out = float(np.std(np.sum(inverses[1:] * (right - rights), axis=1))) * np.sqrt(SUB_BANDS - 1)
    return _Fit(solution / basis_scale, max(white, left_out) / float(basis_scale[-1]), residual)


def _least_phase(omega: Array, magnitude: Array) -> Array:
    """Phase of the causal response of least phase that has this magnitude, taken as flat outside the band."""
    grid = np.linspace(0, np.pi, GRID + 1)
    cepstrum = np.fft.irfft(np.interp(grid, omega, np.log(magnitude)), 2 * GRID)
    cepstrum[1:GRID] *= 2
    cepstrum[GRID + 1 :] = 0
    return np.interp(omega, grid, np.imag(np.fft.rfft(cepstrum)))


def _peak(cross: Complex, size: int) -> float:
    """Lag of the largest correlation within reach, on a grid of 1/`FINENESS` sample."""
    fine = np.fft.irfft(cross, size * FINENESS)
    reach = REACH_SAMPLES * FINENESS
    near = np.concatenate([fine[-reach:], fine[: reach + 1]])
    return (int(np.argmax(np.abs(near))) - reach) / FINENESS


def _smooth(response: Complex) -> Complex:
    """Mean over a sixteenth of the band, the ends reflected: magnitude without the noise of single bins."""
    reach = response.size // 32
    padded = np.pad(response, reach, mode="reflect")
    total = np.concatenate([[0], np.cumsum(padded)])
    return np.asarray((total[2 * reach + 1 :] - total[: -2 * reach - 1]) / (2 * reach + 1))
