"""Why a stimulus is not in a capture: silence, noise, another sound, another rate, or played backwards."""

from __future__ import annotations

import numpy as np

from charprobe.files.sound.source import Source
from charprobe.placing.marker_search import blocks, search
from charprobe.placing.track import Track, finite
from charprobe.stimulus.ident import HASH_DIGITS, IDENT_S, IdentReading, read_ident
from charprobe.stimulus.recipe import shipped_recipe_of
from charprobe.values.arrays import Array
from charprobe.values.errors import AlignmentError
from charprobe.values.wording import number_text

COMMON_RATES_HZ = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
SURE_MATCH = 0.5
FRAME_S = 0.05
STEADY_DB = 6.0  # level range of 50 ms frames within which a sound is steady
FLAT = (
    0.3  # geometric over arithmetic mean of the power spectrum: white noise 0.56, tones and music below 0.1
)
IDENT_STRIDE_S = 2.0
LONGEST_IDENT_SEARCH_S = 400.0


class MissingStimulusError(AlignmentError):
    """The stimulus is not in the capture as it should be; `code` is the health code of the finding."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


def why_not_found(track: Track) -> MissingStimulusError:
    """Say why no marker of `stimulus` was found in the whole of one channel, and what to do."""
    source, channel, stimulus = track.source, track.channel, track.stimulus
    level_dbfs, spread_db, flatness, silent = _nature(source, channel)
    if silent:
        return MissingStimulusError(
            "silent",
            f"capture is digital silence ({track.label}): no signal reached the recorder; on some systems a "
            "refused microphone permission looks exactly like this. Check permission, input and cable; the "
            "file is kept",
        )
    if rate := _other_rate(track):
        return rate
    if search(source, channel, start=0, stop=source.frames, marker_rate_hz=stimulus.rate_hz, backwards=True):
        return MissingStimulusError(
            "reordered",
            f"the sync markers run backwards ({track.label}): the file was reversed after the recording. "
            "Export it again unedited; the file is kept",
        )
    if flatness > FLAT and spread_db < STEADY_DB:
        return MissingStimulusError(
            "stimulus-not-found",
            f"only noise at {number_text(level_dbfs, 1)} dBFS, the stimulus is not found ({track.label}). "
            "Check the play level and the routing; the file is kept",
        )
    reading = find_ident(source, channel)
    if reading is not None and reading.recipe_hash_prefix != stimulus.recipe.hash[:HASH_DIGITS]:
        return wrong_stimulus(track, reading)
    nearest = "none" if reading is None else f"{recipe_name(reading.recipe_hash_prefix)}, take {reading.take}"
    return MissingStimulusError(
        "stimulus-not-found",
        f"sound present, but not the stimulus {stimulus.recipe.name!r} ({track.label}): no sync marker "
        f"found. Nearest match: {nearest}. Choose the capture of this stimulus, or the cue sheet that "
        "belongs to this capture; the file is kept",
    )


def wrong_stimulus(track: Track, reading: IdentReading) -> MissingStimulusError:
    """Say that the ident names another recipe than the cue sheet."""
    stimulus = track.stimulus
    return MissingStimulusError(
        "wrong-stimulus",
        f"the sound says recipe {recipe_name(reading.recipe_hash_prefix)}, take {reading.take}; expected "
        f"was {stimulus.recipe.name!r} ({stimulus.recipe.hash[:HASH_DIGITS]}), take {stimulus.take} "
        f"({track.label}). Choose the cue sheet that belongs to this capture, or the capture of "
        "this stimulus; the file is kept",
    )


def wrong_rate(track: Track) -> MissingStimulusError:
    """Say what a header rate unlike the stimulus' rate means: a wrong label, or a real conversion."""
    stimulus_hz, header_hz = track.stimulus.rate_hz, track.source.rate_hz
    known = _other_rate(track)
    if known is not None:
        return known
    return MissingStimulusError(
        "rate-mislabelled",
        f"the header says {_khz(header_hz)}, the stimulus was rendered at {_khz(stimulus_hz)}, and its "
        f"markers are found at neither rate ({track.label}). Record at {_khz(stimulus_hz)}, or render the "
        "stimulus at the recorder's rate; the file is kept",
    )


def find_ident(source: Source, channel: int) -> IdentReading | None:
    """Search for an ident anywhere in the first minutes of a channel."""
    rate_hz = source.rate_hz
    length = round((IDENT_STRIDE_S + IDENT_S + 0.1) * rate_hz)
    for start in range(
        0, min(source.frames, round(LONGEST_IDENT_SEARCH_S * rate_hz)), round(IDENT_STRIDE_S * rate_hz)
    ):
        samples = source.read(start, start + length, channel)
        reading = read_ident(finite(samples), rate_hz=rate_hz)
        if reading is not None:
            return reading
    return None


def recipe_name(prefix: str) -> str:
    """Name of the shipped recipe whose hash starts with `prefix`, or the prefix itself, in quotes."""
    recipe = shipped_recipe_of(prefix)
    return f"{prefix!r} (none of the shipped ones)" if recipe is None else repr(recipe.name)


def _other_rate(track: Track) -> MissingStimulusError | None:
    """Look for the markers at every common rate; the samples then tell a wrong label from a conversion."""
    source, channel, stimulus = track.source, track.channel, track.stimulus
    best: tuple[float, int] | None = None
    for rate_hz in COMMON_RATES_HZ:
        hits = search(source, channel, start=0, stop=source.frames, marker_rate_hz=rate_hz)
        match = max((hit.match for hit in hits), default=0.0)
        if match >= SURE_MATCH and (best is None or match > best[0]):
            best = (match, rate_hz)
    if best is None:
        return None
    content_hz, header_hz, stimulus_hz = best[1], source.rate_hz, stimulus.rate_hz
    if content_hz == header_hz == stimulus_hz:
        return None
    if content_hz == header_hz:
        return MissingStimulusError(
            "rate-converted",
            f"sampling rate converted from {_khz(stimulus_hz)} to {_khz(header_hz)} on the way "
            f"({track.label}): fast attacks and the top of the band are not what the stage gave. Record or "
            f"export at {_khz(stimulus_hz)}, or render the stimulus at {_khz(header_hz)} and take it again; "
            "the file is kept",
        )
    off = 100 * abs(header_hz / content_hz - 1)
    return MissingStimulusError(
        "rate-mislabelled",
        f"tones are {off:.1f} % off: the header says {_khz(header_hz)}, the content fits {_khz(content_hz)} "
        f"({track.label}). Set the rate in the header to {_khz(content_hz)} in a copy, without conversion; "
        "the file is kept",
    )


def _nature(source: Source, channel: int) -> tuple[float, float, float, bool]:
    """Level in dBFS, its range over time in dB, spectral flatness, and whether all samples are zero."""
    frame = round(FRAME_S * source.rate_hz)
    powers: list[Array] = []
    spectra = np.zeros(frame // 2 + 1)
    peak = 0.0
    size = 64 * frame
    for _, block in blocks(source, channel, start=0, stop=source.frames, size=size, overlap=0):
        peak = max(peak, float(np.abs(block).max(initial=0.0)))
        frames = block[: block.size // frame * frame].reshape(-1, frame)
        powers.append(np.mean(frames**2, axis=1))
        spectra += np.sum(np.abs(np.fft.rfft(frames * np.hanning(frame))) ** 2, axis=0)
    power = np.concatenate([*powers, [peak**2]] if not any(p.size for p in powers) else powers)
    audible = spectra[10 : spectra.size // 2] + 1e-300
    flatness = float(np.exp(np.mean(np.log(audible))) / np.mean(audible))
    low, high = np.percentile(power, [5, 99])
    level = 10 * np.log10(2 * max(float(np.median(power)), 1e-30))
    return float(level), float(10 * np.log10(max(high, 1e-30) / max(low, 1e-30))), flatness, peak == 0.0


def _khz(rate_hz: float) -> str:
    return f"{rate_hz / 1000:g} kHz"
