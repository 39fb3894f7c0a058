"""What a stage did to real material: its gain, levels in and out, peaks, range, spectrum and transients."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import scipy

from charprobe.files.sound.frames import BLOCK_FRAMES, Frames, read_padded
from charprobe.files.sound.loudness import Loudness, measure_loudness
from charprobe.listening.aligning.pair_response import Spectra, pair_spectra
from charprobe.listening.aligning.pairing import AlignedPair
from charprobe.listening.match import routed
from charprobe.listening.programme_gain import ProgrammeGain
from charprobe.values.arrays import Array
from charprobe.values.quantity import Quantity, Reading, Unmeasured

HISTOGRAM_STEP_DB = 0.5
_LEVEL_S = 0.1
MAX_LEVELS = 20_000
_STEP_S = 0.005
_RISE_DB = 10.0  # within 15 ms: only then is it called a transient
_APART_S = 0.15
_MIN_TRANSIENTS = 8


@dataclass(frozen=True)
class WhatItDid:
    """Everything compared between a dry and a processed file.

    Attributes
    ----------
    trace : ProgrammeGain
        Gain against time.
    histogram_gain_db, histogram_share : ndarray, shape (bins,)
        Middle of each bin of 0.5 dB, and the share of the time with sound that the gain spends there.
    level_in_dbfs, level_out_dbfs : ndarray, shape (n,)
        Levels of successive 0.1 s, dry and processed (a full-scale sine is 0 dBFS).
    crest_dry_db, crest_processed_db : float
        Peak over RMS of the whole files.
    loudness_dry, loudness_processed : Loudness
        Loudness and loudness range.
    band_hz, band_change_db : ndarray, shape (bands,)
        Long-term level in third-octave bands, processed less dry, the mean gain included.
    transient_change_db : Quantity or Unmeasured
        Change of how far the first 20 ms of a transient stand above the sound after it (50 to 150 ms).
    transients : int
        How many were used.
    """

    trace: ProgrammeGain
    histogram_gain_db: Array
    histogram_share: Array
    level_in_dbfs: Array
    level_out_dbfs: Array
    crest_dry_db: float
    crest_processed_db: float
    loudness_dry: Loudness
    loudness_processed: Loudness
    band_hz: Array
    band_change_db: Array
    transient_change_db: Reading
    transients: int

    def table(self) -> dict[str, Any]:
        """Return all but what the figures alone need, as JSON holds it; null where there is no number."""
        sides = {"dry": self.loudness_dry, "processed": self.loudness_processed}
        loudness = {side: _number(found.integrated_lufs) for side, found in sides.items()}
        return {
            "gain_histogram": {
                "gain_db": self.histogram_gain_db.tolist(),
                "share": self.histogram_share.tolist(),
            },
            "loudness_lufs": loudness,
            "loudness_range_lu": {side: _number(found.range_lu) for side, found in sides.items()},
            "crest_db": {"dry": self.crest_dry_db, "processed": self.crest_processed_db},
            "third_octaves": {"band_hz": self.band_hz.tolist(), "change_db": self.band_change_db.tolist()},
            "transient_change_db": asdict(self.transient_change_db),
            "transients": self.transients,
        }


def _number(value: float | Unmeasured) -> float | None:
    return None if isinstance(value, Unmeasured) else value


def describe(pair: AlignedPair, *, trace: ProgrammeGain) -> WhatItDid:
    """Compare the two files of a pair; `trace` is their gain against time."""
    dry = routed(pair.dry, pair.dry_channels)
    gain_db, share = _histogram(trace)
    levels = _levels(dry, pair.processed)
    spectra = pair_spectra(pair.dry, pair.processed, dry_channels=pair.dry_channels, size=1 << 14)
    band_hz, change = _band_change(spectra)
    fine_dry, fine_processed = _fine(dry), _fine(pair.processed)
    changes = _transient_changes(fine_dry, fine_processed)
    return WhatItDid(
        trace=trace,
        histogram_gain_db=gain_db,
        histogram_share=share,
        level_in_dbfs=levels[0],
        level_out_dbfs=levels[1],
        crest_dry_db=_crest(fine_dry),
        crest_processed_db=_crest(fine_processed),
        loudness_dry=measure_loudness(dry),
        loudness_processed=measure_loudness(pair.processed),
        band_hz=band_hz,
        band_change_db=change,
        transient_change_db=_median(changes),
        transients=changes.size,
    )


def _histogram(trace: ProgrammeGain) -> tuple[Array, Array]:
    gain = trace.gain_db[trace.known]
    if gain.size == 0:
        return np.zeros(0), np.zeros(0)
    low, high = np.floor(gain.min() / HISTOGRAM_STEP_DB), np.floor(gain.max() / HISTOGRAM_STEP_DB) + 1
    edges = np.arange(low, high + 1) * HISTOGRAM_STEP_DB
    counts, _ = np.histogram(gain, bins=edges)
    return edges[:-1] + HISTOGRAM_STEP_DB / 2, counts / counts.sum()


def _levels(dry: Frames, processed: Frames) -> tuple[Array, Array]:
    size = round(_LEVEL_S * dry.rate_hz)
    hop = max(size, dry.frames // MAX_LEVELS)
    starts = range(0, max(dry.frames - size, 0) + 1, hop)
    powers = np.array(
        [[np.mean(read_padded(source, k, k + size) ** 2) for source in (dry, processed)] for k in starts]
    )
    kept = powers[:, 0] > 1e-7 * powers[:, 0].max()
    level = 10 * np.log10(2 * powers[kept] + 1e-30)
    return level[:, 0], level[:, 1]


@dataclass(frozen=True)
class _Fine:
    """Mean power and peak of each 5 ms, all channels together."""

    power: Array
    peak: Array


def _fine(source: Frames) -> _Fine:
    size = round(_STEP_S * source.rate_hz)
    stride = BLOCK_FRAMES // size * size
    power, peak = [], []
    for start in range(0, source.frames // size * size, stride):
        stop = min(start + stride, source.frames // size * size)
        cells = source.read_frames(start, stop).reshape(-1, size * source.channels)
        power.append(np.mean(cells**2, axis=1))
        peak.append(np.abs(cells).max(axis=1))
    return _Fine(np.concatenate(power), np.concatenate(peak))


def _crest(fine: _Fine) -> float:
    return float(20 * np.log10(fine.peak.max() / np.sqrt(fine.power.mean())))


def _transient_changes(dry: _Fine, processed: _Fine) -> Array:
    """Change of attack over body at each transient of the dry sound, in dB."""
    level = 10 * np.log10(dry.power + 1e-12 * dry.power.max())
    rise = level[3:] - np.maximum.reduce([level[:-3], level[1:-2]])
    after, gap = round(0.15 / _STEP_S), round(_APART_S / _STEP_S)
    loud = level[3:] > level.max() - 30
    onsets: list[int] = []
    for k in np.flatnonzero((rise > _RISE_DB) & loud) + 2:
        if (not onsets or k - onsets[-1] >= gap) and k + after < level.size:
            onsets.append(int(k))
    changes = []
    for onset in onsets:
        ratios = []
        for fine in (dry, processed):
            attack = fine.peak[onset : onset + 4].max()
            body = np.sqrt(fine.power[onset + 10 : onset + after].mean())
            ratios.append(20 * np.log10((attack + 1e-12) / (body + 1e-12)))
        changes.append(ratios[1] - ratios[0])
    return np.array(changes)


def _median(changes: Array) -> Reading:
    """Median with the interval between order statistics that holds it with 95 % probability."""
    if changes.size < _MIN_TRANSIENTS:
        return Unmeasured(
            "dB",
            f"only {changes.size} transients (a rise of {_RISE_DB:g} dB within 15 ms), "
            f"{_MIN_TRANSIENTS} are needed",
            "use material with drums or plucked strings",
        )
    ordered = np.sort(changes)
    below = scipy.special.bdtr(np.arange(changes.size + 1), changes.size, 0.5)
    reach = int(np.searchsorted(below, 0.025))
    low, high = ordered[max(reach - 1, 0)], ordered[min(changes.size - reach, changes.size - 1)]
    return Quantity(float(np.median(ordered)), float(low), float(high), "dB")


def _band_change(spectra: Spectra) -> tuple[Array, Array]:
    centres = 1000 * 10 ** (np.arange(-16, 14) / 10)
    frequency = spectra.frequency_hz
    dry, processed = spectra.dry.sum(axis=1), spectra.processed.sum(axis=1)
    rows = []
    for centre in centres:
        low, high = np.searchsorted(frequency, [centre * 10**-0.05, centre * 10**0.05])
        if high > low and high < frequency.size:
            rows.append((centre, dry[low:high].sum(), processed[low:high].sum()))
    bands, power_dry, power_processed = np.array(rows).T
    kept = power_dry > 1e-8 * power_dry.max()
    return bands[kept], np.asarray(10 * np.log10(power_processed[kept] / power_dry[kept] + 1e-30))
