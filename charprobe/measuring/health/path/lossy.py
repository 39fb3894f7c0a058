"""Traces of lossy coders and sampling-rate converters: a wall in the spectrum, noise ahead of sound."""

from __future__ import annotations

import numpy as np

from charprobe.measuring.health.path.tone_noise import CODED
from charprobe.measuring.health.pauses.quiet import QuietSpectrum, pauses
from charprobe.placing.take import Take
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.values.arrays import Array
from charprobe.values.median import median_over
from charprobe.values.wording import number_text

FROM_HZ, BAND_HZ, FINE_HZ = 8_000.0, 500.0, 25.0
LEAST_DROP_DB = 20.0  # over the width of so many bands, and nothing comes back above
DROP_BANDS = 2
LOWER_BANDS = 4
HIGHEST_SHARE = 0.4535  # of the rate: converters of that rate themselves pass at least as much
LAST_SHARE = 0.49
CODED_BELOW_HZ = 20_450.0  # converters between the usual rates pass more: 0.4535 of 44.1 kHz and their slope
BRICK_HZ = 120.0  # within which only a coder's bank of bands falls by 17 dB; converters take 200 Hz and more
NEAR_TOP_DB, FALLEN_DB = 3.0, 20.0

BEFORE_S = (0.030, 0.012)  # ahead of a sound: no stage looks ahead so far
EARLIER_S, EARLIEST_S = (0.065, 0.050), (0.115, 0.095)
LEAST_RISE_DB = 6.0
RECOVERY = 3.0  # times the rise from earliest to earlier: noise that comes back with the gain
FEWEST, LEAST_SHARE = 2, 0.2


def check_lossy(take: Take, spectrum: QuietSpectrum, *, second_path: bool) -> list[Health]:
    """Look for the traces of coding and conversion in pauses: codes ``lossy-coded`` and ``rate-converted``.

    A `second_path` may be the earlier one, and then it sounds before its time.
    """
    return (not second_path and _before_sounds(take)) or _wall(take, spectrum)


def _wall(take: Take, spectrum: QuietSpectrum) -> list[Health]:
    wall = wall_of(spectrum, rate_hz=take.stimulus.rate_hz)
    if wall is None:
        return []
    wall_hz, slope_hz = wall
    khz = number_text(wall_hz / 1e3, 1)
    if wall_hz < CODED_BELOW_HZ or slope_hz < BRICK_HZ:
        text = (
            f"Nothing above {khz} kHz, not even noise ({take.label}): looks coded with loss. Harmonics, noise"
            " and times are the coder's. Record and export WAV or FLAC, and retake. The rest is kept, "
            "marked"
        )
        return [Health("lossy-coded", "stop", text, channel=take.channel, withholds=CODED)]
    text = (
        f"Nothing above {khz} kHz, not even noise, in a file of {take.source.rate_hz} Hz ({take.label}): "
        "converted from another sampling rate, or coded with loss, on the way. Harmonics above that are "
        "lost, and attacks of less than about 0.3 ms are the filter's. Record at the rate of the stimulus, "
        f"export WAV or FLAC, and retake. {ALL_GIVEN}"
    )
    return [Health("rate-converted", "warn", text, channel=take.channel)]


def wall_of(spectrum: QuietSpectrum, *, rate_hz: float) -> tuple[float, float] | None:
    """Frequency above which the noise of the pauses ends at once, and how fast it ends, both in Hz.

    None where it does not end.
    """
    power, bin_hz = spectrum.power, spectrum.bin_hz
    width = round(BAND_HZ / bin_hz)
    first, last = round(FROM_HZ / bin_hz), int(LAST_SHARE * rate_hz / bin_hz)
    count = (last - first) // width
    bands = median_over(power[first : first + count * width].reshape(count, width), axis=1)
    level_db = 10 * np.log10(np.maximum(bands, 1e-30))
    for at in range(LOWER_BANDS, count - DROP_BANDS):
        edge_hz = (first + at * width) * bin_hz
        if edge_hz > HIGHEST_SHARE * rate_hz:
            break
        below = float(level_db[at - LOWER_BANDS : at].min())
        if below - float(level_db[at + DROP_BANDS :].max()) >= LEAST_DROP_DB:
            from_hz = edge_hz - BAND_HZ
            wall_hz, top_hz, floor_hz = (
                _edge_hz(spectrum, from_hz, below - fall)
                for fall in (LEAST_DROP_DB / 2, NEAR_TOP_DB, FALLEN_DB)
            )
            return (wall_hz, floor_hz - top_hz) if wall_hz < HIGHEST_SHARE * rate_hz else None
    return None


def _edge_hz(spectrum: QuietSpectrum, from_hz: float, level_db: float) -> float:
    """First frequency, to `FINE_HZ`, from which the noise lies below a level."""
    width, first = round(FINE_HZ / spectrum.bin_hz), round(from_hz / spectrum.bin_hz)
    power = spectrum.power[first : first + (spectrum.power.size - first) // width * width]
    low = median_over(power.reshape(-1, width), axis=1) < 10 ** (level_db / 10)
    return float((first + int(np.argmax(low)) * width) * spectrum.bin_hz)


def _before_sounds(take: Take) -> list[Health]:
    """Sound that rises ahead of what causes it: the spread error of a coder's blocks."""
    rate_hz = take.stimulus.rate_hz
    judged, early = 0, []
    for start, onset in pauses(take.stimulus):
        if onset - start < (EARLIEST_S[0] + 0.05) * rate_hz or onset >= take.stimulus.length:
            continue
        earliest, earlier, before = (
            _level_db(take, onset, window) for window in (EARLIEST_S, EARLIER_S, BEFORE_S)
        )
        if not np.isfinite([earliest, earlier, before]).all():
            continue
        judged += 1
        if before - earlier > LEAST_RISE_DB + RECOVERY * max(0.0, earlier - earliest):
            early.append((onset, before - earlier))
    if len(early) < max(FEWEST, LEAST_SHARE * judged):
        return []
    text = (
        f"Sound begins before what causes it: up to {number_text(max(rise for _, rise in early), 0)} dB more "
        f"noise in the 20 ms ahead of {len(early)} of {judged} onsets ({take.label}). Looks coded with loss. "
        "Harmonics, noise and times are the coder's. Record and export WAV or FLAC, and retake. The rest is "
        "kept, marked"
    )
    start_s = take.capture_time_s(early[0][0])
    return [Health("lossy-coded", "stop", text, take.channel, start_s=start_s, withholds=CODED)]


def _level_db(take: Take, onset: float, window: tuple[float, float]) -> float:
    """Level of the treble in a window ahead of an onset; NaN where the capture does not hold all of it."""
    rate_hz = take.stimulus.rate_hz
    cut = take.cut(onset - window[0] * rate_hz, onset - window[1] * rate_hz)
    steps: Array = np.diff(cut.samples)
    power = float(np.mean(steps**2)) if steps.size else 0.0
    if cut.samples.size < 0.9 * (window[0] - window[1]) * rate_hz:
        return np.nan
    return 10 * float(np.log10(power + 1e-18))
