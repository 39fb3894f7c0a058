"""Traces of lossy coders and sampling-rate converters: a wall in the spectrum."""

from __future__ import annotations

import numpy as np

from charprobe.measuring.health.path.swept_answer import swept_answer
from charprobe.measuring.health.path.tone_noise import CODED
from charprobe.measuring.health.pauses.quiet import QuietSpectrum
from charprobe.placing.take import Take, held
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.values.median import median_over
from charprobe.values.wording import number_text

FROM_HZ, SWEPT_FROM_HZ, BAND_HZ, FINE_HZ = 8_000.0, 2_000.0, 500.0, 25.0
LEAST_DROP_DB = 20.0  # over the width of so many bands, and nothing comes back above
DROP_BANDS = 2
LOWER_BANDS = 4
HIGHEST_SHARE = 0.4535  # of the rate: converters of that rate themselves pass at least as much
LAST_SHARE = 0.49  # of the rate
CODED_BELOW_HZ = 20_450.0  # converters between the usual rates pass more: 0.4535 of 44.1 kHz and their slope
BRICK_HZ = 120.0  # within which only a coder's bank of bands falls by 17 dB; converters take 200 Hz and more
NEAR_TOP_DB, FALLEN_DB = 3.0, 20.0


def check_lossy(take: Take, spectrum: QuietSpectrum) -> list[Health]:
    """Look for a wall in noise, or in the sweep: codes ``lossy-coded`` and ``rate-converted``.

    Behind a wall of the sweep there may be noise, or treble that was put in its place.
    """
    highest_hz = HIGHEST_SHARE * take.stimulus.rate_hz
    wall = wall_of(spectrum, from_hz=FROM_HZ, highest_hz=highest_hz)
    what, where = "Nothing", ", not even noise"
    if wall is None and (answer := swept_answer(take)) is not None:
        what, where, bin_hz = "Nothing of the sweep comes", "", answer[1]
        count = int(held(take, Sweep)[0].spec.to_hz / bin_hz)
        swept = QuietSpectrum(np.abs(answer[0][:count]) ** 2, bin_hz, frames=1, moving=0.0)
        wall = wall_of(swept, from_hz=SWEPT_FROM_HZ, highest_hz=highest_hz)
        wall = wall if wall is not None and wall[1] < BRICK_HZ else None
    if wall is None:
        return []
    wall_hz, slope_hz = wall
    khz = number_text(wall_hz / 1e3, 1)
    if wall_hz < CODED_BELOW_HZ or slope_hz < BRICK_HZ:
        text = (
            f"{what} above {khz} kHz{where} ({take.label}): looks coded with loss: harmonics, noise, times "
            "are the coder's. Record and export WAV or FLAC, and retake. The rest is kept, marked"
        )
        return [Health("lossy-coded", "stop", text, channel=take.channel, withholds=CODED)]
    text = (
        f"{what} above {khz} kHz{where}, in a file of {take.source.rate_hz} Hz ({take.label}): "
        "converted from another sampling rate, or coded with loss, on the way. Harmonics above that are "
        "lost, and attacks of less than about 0.3 ms are the filter's. Record at the rate of the stimulus, "
        f"export WAV or FLAC, and retake. {ALL_GIVEN}"
    )
    return [Health("rate-converted", "warn", text, channel=take.channel)]


def wall_of(spectrum: QuietSpectrum, *, from_hz: float, highest_hz: float) -> tuple[float, float] | None:
    """Frequency, within what is looked at, above which a spectrum ends at once, and how fast it ends.

    Both in Hz; None where it does not end.
    """
    power, bin_hz = spectrum.power, spectrum.bin_hz
    width = round(BAND_HZ / bin_hz)
    first, last = round(from_hz / bin_hz), int(2 * LAST_SHARE * power.size)
    count = (last - first) // width
    bands = median_over(power[first : first + count * width].reshape(count, width), axis=1)
    level_db = 10 * np.log10(np.maximum(bands, 1e-30))
    for at in range(LOWER_BANDS, count - DROP_BANDS):
        edge_hz = (first + at * width) * bin_hz
        if edge_hz > highest_hz:
            break
        below = float(level_db[at - LOWER_BANDS : at].min())
        if below - float(level_db[at + DROP_BANDS :].max()) >= LEAST_DROP_DB:
            wall_hz, top_hz, floor_hz = (
                _edge_hz(spectrum, edge_hz - BAND_HZ, below - fall)
                for fall in (LEAST_DROP_DB / 2, NEAR_TOP_DB, FALLEN_DB)
            )
            return (wall_hz, floor_hz - top_hz) if wall_hz < highest_hz else None
    return None


def _edge_hz(spectrum: QuietSpectrum, from_hz: float, level_db: float) -> float:
    """First frequency, to `FINE_HZ`, from which the noise lies below a level."""
    width, first = round(FINE_HZ / spectrum.bin_hz), round(from_hz / spectrum.bin_hz)
    power = spectrum.power[first : first + (spectrum.power.size - first) // width * width]
    low = median_over(power.reshape(-1, width), axis=1) < 10 ** (level_db / 10)
    return float((first + int(np.argmax(low)) * width) * spectrum.bin_hz)
