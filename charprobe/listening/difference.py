"""What is left when the dry sound is taken from the processed, step by step, and what limits the null."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import scipy
from numpy.typing import NDArray

from charprobe.files.sound.frames import Frames, View, read_padded
from charprobe.listening.aligning.filtering import through
from charprobe.listening.aligning.pair_response import Spectra, pair_spectra
from charprobe.listening.aligning.pairing import AlignedPair
from charprobe.listening.aligning.time_map import OnDryClock, TimeMap
from charprobe.listening.aligning.warp import EXACT_BAND
from charprobe.listening.programme_gain import ProgrammeGain, gained
from charprobe.values.arrays import Array
from charprobe.values.fade import faded_ends
from charprobe.values.wording import number_text, signed_text

Removed = Literal["as it is", "gain", "delay", "clock drift", "response"]
Cause = Literal["level", "time", "response", "distortion", "noise"]
SIZE = 8192
MAX_WINDOWS = 3000
RESPONSE_REACH = 2048  # frames of impulse response on each side
_DEEPEST = 1e-15  # energy ratio that the sums can still tell


@dataclass(frozen=True)
class Rung:
    """The residual after one more thing was removed.

    Attributes
    ----------
    step : str
        What was removed last.
    depth_db : float
        Energy of the residual over that of the processed sound, in dB: negative, the lower the more alike.
    band_depth_db : ndarray, shape (bands,)
        The same within each third-octave band; NaN-free: bands without sound are left out of `Null.band_hz`.
    limit : str
        The largest part of what is left: level, time, response, distortion or noise.
    """

    step: Removed
    depth_db: float
    band_depth_db: Array
    limit: Cause


@dataclass(frozen=True)
class Null:
    """The whole ladder.

    Attributes
    ----------
    rungs : tuple of Rung
        In the order gain, delay, clock drift, response.
    band_hz : ndarray, shape (bands,)
        Middle of each third-octave band that holds sound.
    gain_db : float
        The one gain removed.
    impulse : ndarray, shape (2 RESPONSE_REACH + 1, channels)
        Response of the best linear filter from dry to processed, time zero in the middle.
    top_hz : float or None
        Sound above is left out: it cannot be read between samples; None where no such reading was needed.
    sentence : str
        What limits the null before and after.
    """

    rungs: tuple[Rung, ...]
    band_hz: Array
    gain_db: float
    impulse: Array
    top_hz: float | None
    sentence: str

    def table(self, *, written_at_db: float) -> dict[str, Any]:
        """Return the ladder as JSON holds it; the difference file was written at that gain."""
        steps = [
            {
                "removed": rung.step,
                "depth_db": rung.depth_db,
                "limit": rung.limit,
                "band_depth_db": rung.band_depth_db.tolist(),
            }
            for rung in self.rungs
        ]
        return {
            "gain_db": self.gain_db,
            "written_at_db": written_at_db,
            "compared_up_to_hz": self.top_hz,
            "band_hz": self.band_hz.tolist(),
            "steps": steps,
            "sentence": self.sentence,
        }


def take_difference(pair: AlignedPair, *, trace: ProgrammeGain) -> Null:
    """Remove gain, delay, clock drift and linear response in turn, and measure what is left.

    Parameters
    ----------
    pair : AlignedPair
        The aligned pair.
    trace : ProgrammeGain
        Its gain against time, used only to tell moving gain from distortion.

    Notes
    -----
    Energies are summed over up to 3000 Hann windows of 8192 frames spread over the pair. Polarity is set
    right first. Where the processed file must be read between its samples, only the band in which that is
    exact counts. Each step fits the one gain anew. What the last step leaves is called level as far as the
    gain trace explains it; of the rest, the part that grows with the sound is distortion, the part that does
    not is noise.
    """
    whole = round(pair.processed.time_map.delay_at(pair.processed.first))
    middle = pair.processed.time_map.delay_at(pair.processed.first + pair.dry.frames / 2)
    jumps = pair.processed.time_map
    settled = [value - jumps.offsets[0] for value in jumps.offsets]
    at_whole = _shifted(pair, (float(whole),), (0,))
    at_delay = _shifted(pair, tuple(middle - _last(settled, pair) + extra for extra in settled), jumps.starts)
    spectra = pair_spectra(pair.dry, pair.processed, dry_channels=pair.dry_channels, size=SIZE * 2)
    impulse = _impulse(spectra)
    bins = SIZE // 2 + 1
    if pair.processed.resampled:
        bins = int(EXACT_BAND * bins)
    sums = [
        _sums(pair, at_whole, bins=bins, impulse=None, trace=None),
        _sums(pair, at_delay, bins=bins, impulse=None, trace=None),
        _sums(pair, pair.processed, bins=bins, impulse=None, trace=None),
        _sums(pair, pair.processed, bins=bins, impulse=impulse, trace=None),
        _sums(pair, pair.processed, bins=bins, impulse=impulse, trace=trace),
    ]
    return _ladder(pair, sums, impulse)


def _last(settled: list[float], pair: AlignedPair) -> float:
    """Offset, re the first, that holds in the middle of the pair."""
    middle = pair.processed.first + pair.dry.frames / 2
    return settled[int(np.searchsorted(pair.processed.time_map.starts, middle, side="right")) - 1]


def _shifted(pair: AlignedPair, offsets: tuple[float, ...], starts: tuple[int, ...]) -> OnDryClock:
    return OnDryClock(
        pair.processed.processed, TimeMap(starts, offsets, 0.0), pair.processed.first, pair.dry.frames
    )


def _impulse(spectra: Spectra) -> Array:
    full = scipy.fft.irfft(spectra.transfer, spectra.size, axis=0)
    line = np.concatenate([full[-RESPONSE_REACH:], full[: RESPONSE_REACH + 1]])
    return np.asarray(line * faded_ends(line.shape[0], RESPONSE_REACH // 4)[:, None])


@dataclass(frozen=True)
class _Sums:
    """Energies of dry, processed and their product per bin; of the residual per bin and per window."""

    dry: Array
    processed: Array
    product: Array
    residual: Array
    window_residual: Array
    window_processed: Array
    gain: float


def _sums(
    pair: AlignedPair, processed: Frames, *, bins: int, impulse: Array | None, trace: ProgrammeGain | None
) -> _Sums:
    frames = pair.dry.frames
    count = int(np.clip(2 * frames // SIZE - 1, 1, MAX_WINDOWS))
    starts = np.linspace(0, max(frames - SIZE, 0), count).astype(int)
    window = np.hanning(SIZE)[:, None]
    dry, wet, product = np.zeros(bins), np.zeros(bins), np.zeros(bins)
    per_window = np.zeros((count, 3))
    for k, start in enumerate(starts):
        x = dry_piece(pair, int(start), SIZE, impulse=impulse, trace=trace)
        y = pair.polarity * read_padded(processed, int(start), int(start) + SIZE)
        one, other = (scipy.fft.rfft(piece * window, axis=0)[:bins] for piece in (x, y))
        own = _energy(one, one), _energy(other, other), _energy(one, other)
        dry += own[0]
        wet += own[1]
        product += own[2]
        per_window[k] = [part.sum() for part in own]
    gain = float(product.sum() / max(dry.sum(), 1e-30))
    residual = np.maximum(wet - 2 * gain * product + gain**2 * dry, 0.0)
    left = np.maximum(per_window @ (gain**2, 1.0, -2 * gain), 0.0)
    return _Sums(dry, wet, product, residual, left, per_window[:, 1], gain)


def _energy(one: NDArray[np.complex128], other: NDArray[np.complex128]) -> Array:
    """Energy that two spectra share, per bin."""
    return np.asarray(np.sum(one.real * other.real + one.imag * other.imag, axis=1))


def dry_piece(
    pair: AlignedPair, start: int, size: int, *, impulse: Array | None, trace: ProgrammeGain | None
) -> Array:
    """Dry sound from `start` on, through response and moving gain where given; shape (size, channels)."""
    reach = 0 if impulse is None else (impulse.shape[0] - 1) // 2
    source = pair.dry if trace is None else gained(pair.dry, trace)
    raw = read_padded(source, start - reach, start + size + reach)[:, pair.dry_channels]
    if impulse is None:
        return raw
    return through(raw, pair.polarity * impulse)


def _ladder(pair: AlignedPair, sums: list[_Sums], impulse: Array) -> Null:
    at_whole, at_delay, at_rate, filtered, moving = sums
    unscaled = at_whole.processed - 2 * at_whole.product + at_whole.dry
    residuals = [unscaled, *(part.residual for part in (at_whole, at_delay, at_rate, filtered))]
    steps: tuple[Removed, ...] = ("as it is", "gain", "delay", "clock drift", "response")
    reference = at_rate.processed
    edges, band_hz = _bands(reference, pair.dry.rate_hz)
    energies = [float(residual.sum()) for residual in residuals]
    for k in (3, 4):  # a step that only adds its own noise removes nothing
        energies[k] = min(energies[k], energies[k - 1])
    moved = min(float(moving.residual.sum()), energies[-1])
    noise = min(_steady_part(moving), moved)
    parts: list[tuple[int, Cause, float]] = [
        (1, "level", energies[0] - energies[1]),
        (2, "time", energies[1] - energies[2]),
        (3, "time", energies[2] - energies[3]),
        (4, "response", energies[3] - energies[4]),
        (9, "level", energies[4] - moved),
        (9, "distortion", moved - noise),
        (9, "noise", noise),
    ]
    total = float(reference.sum())
    rungs = []
    for k, step in enumerate(steps):
        shares: dict[Cause, float] = {}
        for removed_by, cause, energy in parts:
            if removed_by > k:
                shares[cause] = shares.get(cause, 0.0) + max(energy, 0.0)
        limit = max(shares, key=lambda cause: shares[cause])
        bands = [_depth(float(residuals[k][a:b].sum()), float(reference[a:b].sum())) for a, b in edges]
        rungs.append(Rung(step, _depth(energies[k], total), np.array(bands), limit))
    gain_db = float(20 * np.log10(max(abs(at_rate.gain), 1e-9)))
    top_hz = None if reference.size > SIZE // 2 else (reference.size - 1) * pair.dry.rate_hz / SIZE
    return Null(tuple(rungs), band_hz, gain_db, impulse, top_hz, _sentence(tuple(rungs), gain_db, top_hz))


def _depth(left: float, whole: float) -> float:
    return float(10 * np.log10(max(left, _DEEPEST * whole) / max(whole, 1e-300)))


def _steady_part(sums: _Sums) -> float:
    """Energy of the residual that stays when the sound is soft: its level in the quietest windows."""
    order = np.argsort(sums.window_processed)
    quiet = order[: max(order.size // 10, 1)]
    return float(np.median(sums.window_residual[quiet])) * order.size


def _bands(power: Array, rate_hz: int) -> tuple[list[tuple[int, int]], Array]:
    """Bins and middle in Hz of each third-octave band within 90 dB of the strongest."""
    centres = 1000 * 10 ** (np.arange(-16, 14) / 10)
    low, high = (np.ceil(centres * side / (rate_hz / SIZE)).astype(int) for side in (10**-0.05, 10**0.05))
    inside = (high > low) & (high <= power.size)
    edges = np.stack([low, high], axis=1)[inside]
    energy = np.array([power[first:last].sum() for first, last in edges])
    loud = energy > 1e-9 * energy.max(initial=0.0)
    return [(first, last) for first, last in edges[loud].tolist()], centres[inside][loud]


_WORDS: dict[Cause, str] = {
    "level": "level (a gain that differs or moves)",
    "time": "time (delay or clocks)",
    "response": "linear response",
    "distortion": "distortion",
    "noise": "noise",
}


def _sentence(rungs: tuple[Rung, ...], gain_db: float, top_hz: float | None) -> str:
    first, timed, last = rungs[0], rungs[3], rungs[-1]
    above = ""
    if top_hz is not None:
        above = f" Sound above {top_hz / 1000:.1f} kHz, which cannot be read between samples, is left out."
    if first.depth_db <= 10 * np.log10(_DEEPEST):
        return f"Taken as they are, the files are the same sound: nothing is left of their difference.{above}"
    depths = [number_text(rung.depth_db, 1) for rung in (first, timed, last)]
    return (
        f"Taken as they are, the files null to {depths[0]} dB and what limits it is {_WORDS[first.limit]}; "
        f"with gain ({signed_text(gain_db, 2)} dB), delay and clock drift removed to {depths[1]} dB, limited "
        f"by {_WORDS[timed.limit]}; with the best linear filter removed too to {depths[2]} dB, limited by "
        f"{_WORDS[last.limit]}.{above}"
    )


def residual(pair: AlignedPair, null: Null, *, remove_response: bool) -> Frames:
    """Return the difference as sound: processed, right way up, less dry with the fitted gain or filter."""
    impulse = null.impulse if remove_response else None
    factor = 1.0 if remove_response else 10 ** (null.gain_db / 20)

    def read(start: int, stop: int) -> Array:
        dry = dry_piece(pair, start, stop - start, impulse=impulse, trace=None)
        return np.asarray(pair.polarity * pair.processed.read_frames(start, stop) - factor * dry)

    return View(pair.dry.rate_hz, pair.dry.frames, pair.processed.channels, read)
