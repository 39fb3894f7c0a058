"""Bringing a processed file and its dry one together on any material: delay, clocks, polarity, roles."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NoReturn

import numpy as np

from charprobe.files.sound.frames import Frames, View
from charprobe.listening.aligning.delay_fit import Guide
from charprobe.listening.aligning.delay_track import DelayTrack, refine_track, track_delay, window_length
from charprobe.listening.aligning.onsets import rough_lags
from charprobe.listening.aligning.pair_checks import (
    MIN_COMMON_S,
    PairingError,
    check_level,
    check_shapes,
    different,
)
from charprobe.listening.aligning.pair_response import (
    SecondPath,
    find_second_path,
    minimum_phase,
    pair_spectra,
)
from charprobe.listening.aligning.roles import Roles, check_roles
from charprobe.listening.aligning.time_map import FittedMap, OnDryClock, fit_map, place_jumps
from charprobe.listening.programme_gain import gained, trace_gain
from charprobe.values.arrays import Array
from charprobe.values.quantity import Quantity, Reading, Unmeasured
from charprobe.values.wording import signed_text

_RESPONSE_TAPS = 2048
_RESPONSE_ROUNDS = 5
_RESPONSE_S = 180
_RESPONSE_DOUBT = 0.3  # of what a response moves the delay by, as standard uncertainty
_RESPONSE_LEAST = 0.002  # frames of doubt that a response brings in any case
_CLEARLY_BETTER = 0.8  # unexplained power with the response over without it: only then is there a response
_MAX_DRIFT = 4e-3  # two devices on clocks of their own stay below a tenth of it
_MAX_UNMATCHED = 0.5


@dataclass(frozen=True)
class Jump:
    """A change of latency inside the processed file: at `at_s` of the dry file, later by `frames`."""

    at_s: float
    frames: float


@dataclass(frozen=True)
class AlignedPair:
    """A dry and a processed file on one clock, and how they lay before.

    Attributes
    ----------
    dry : Frames
        The common part of the dry file, untouched.
    processed : OnDryClock
        The processed file read at the same moments; frame for frame beside `dry`.
    dry_channels : tuple of int
        Dry channel that each processed channel belongs to.
    delay : Quantity
        Frames from the dry sound to the same sound in the processed file, at the first common frame.
    drift_ppm : Quantity or Unmeasured
        By how much the processed file runs long.
    polarity : int
        1, or -1 when the processed file is inverted.
    jumps : tuple of Jump
        Changes of latency inside the file.
    response_fitted : bool
        Whether a linear response was taken into account for the delay.
    roles : Roles
        Whether dry and processed look exchanged.
    second_path : SecondPath or None
        A second copy of the dry sound in the processed file.
    notes : tuple of str
        Plain sentences on what is worth knowing.
    """

    dry: Frames
    processed: OnDryClock
    dry_channels: tuple[int, ...]
    delay: Quantity
    drift_ppm: Reading
    polarity: int
    jumps: tuple[Jump, ...]
    response_fitted: bool
    roles: Roles
    second_path: SecondPath | None
    notes: tuple[str, ...]


def pair_files(dry: Frames, processed: Frames) -> AlignedPair:
    """Find where, how fast, and which way up `processed` holds the sound of `dry`.

    Parameters
    ----------
    dry, processed : Frames
        Same sampling rate; one or more channels. A mono file is set beside every channel of the other.

    Raises
    ------
    PairingError
        If the rates or channels do not fit, a file is silent or too short, or they hold different sound.

    Notes
    -----
    Rough place from band onsets, nearby first, then everywhere; then cross-correlation of windows along the
    file, then least squares with a gain free every 5 ms and gentle filters beside it, so that neither make-up
    nor moving gain nor a low cut shifts the delay. Where a linear response explains the sound clearly better,
    its minimum-phase part counts as response and only the rest as delay. Latency changes below 0.3 frames are
    not told from scatter.
    """
    check_shapes(dry, processed)
    for name, source in (("dry", dry), ("processed", processed)):
        check_level(name, source)
    channels = tuple(k if dry.channels > 1 else 0 for k in range(processed.channels))
    guide = Guide(dry, processed, channels)
    for lag in rough_lags(dry, processed):
        track = track_delay(guide, lag=lag)
        if track.position.size > 0 and track.unmatched <= _MAX_UNMATCHED:
            break
    else:
        _explain_mismatch(guide, lag)
    size = window_length(min(dry.frames, processed.frames))
    fitted, response_fitted, track = _settle(guide, track, size=size)
    first, frames = _common(guide, fitted)
    placed = OnDryClock(processed, fitted.map, first, frames)
    window = _part(dry, first, frames)
    spectra_size = min(1 << 15, window_length(frames) * 2)
    second = find_second_path(pair_spectra(window, placed, dry_channels=channels, size=spectra_size))
    roles = check_roles(window, placed, dry_channels=channels)
    pair = AlignedPair(
        dry=window,
        processed=placed,
        dry_channels=channels,
        delay=Quantity.from_std(fitted.map.delay_at(first), fitted.offset_std, "frames"),
        drift_ppm=_drift(fitted),
        polarity=1 if np.median(track.polarity) > 0 else -1,
        jumps=_jumps(fitted, dry.rate_hz),
        response_fitted=response_fitted,
        roles=roles,
        second_path=second,
        notes=(),
    )
    return replace(pair, notes=_notes(pair, dry, processed, track))


def _part(source: Frames, first: int, frames: int) -> Frames:
    """Part of a file as a file of its own."""
    return View(
        source.rate_hz, frames, source.channels, lambda a, b: source.read_frames(first + a, first + b)
    )


def _settle(guide: Guide, track: DelayTrack, *, size: int) -> tuple[FittedMap, bool, DelayTrack]:
    """Fit the time map; again with clocks apart, and with the response if it explains the sound better."""
    flat = np.ones((1, guide.processed.channels))
    fitted = fit_map(track, frames=guide.dry.frames)
    if abs(fitted.map.drift) > _MAX_DRIFT:
        raise different(
            f"its places would need clocks {100 * abs(fitted.map.drift):.2g} % apart, as at another speed"
        )
    if fitted.map.drift != 0:
        track = refine_track(guide, track, size=size // 2, step=1 / (1 + fitted.map.drift), response=flat)
        fitted = fit_map(track, frames=guide.dry.frames)
    fitted = _placed_jumps(guide, fitted, track)
    first, frames = _common(guide, fitted)
    placed = OnDryClock(guide.processed, fitted.map, first, frames)
    window = _part(guide.dry, first, frames)
    response = fit_response(window, placed, dry_channels=guide.dry_channels, size=min(1 << 14, size))
    step = 1 / (1 + fitted.map.drift)
    with_response = refine_track(guide, track, size=size // 2, step=step, response=response)
    without = refine_track(guide, track, size=size // 2, step=step, response=flat)
    if np.median(with_response.unexplained) > _CLEARLY_BETTER * np.median(without.unexplained):
        return fitted, False, track
    refitted = fit_map(with_response, frames=guide.dry.frames)
    moved = float(np.median(np.abs(with_response.delay - without.delay)))
    doubt = max(_RESPONSE_DOUBT * moved, _RESPONSE_LEAST)
    refitted = replace(refitted, offset_std=float(np.hypot(refitted.offset_std, doubt)))
    return _placed_jumps(guide, refitted, with_response), True, with_response


def fit_response(dry: Frames, processed: Frames, *, dry_channels: tuple[int, ...], size: int) -> Array:
    """Minimum-phase response of a pair on one clock, moving gain set aside; shape (taps, channels).

    Taken from the middle three minutes. Gain and response are fitted in turns, beginning with no response:
    otherwise each band would carry the mean gain of the moments when it sounds.
    """
    frames = min(dry.frames, _RESPONSE_S * dry.rate_hz)
    first = (dry.frames - frames) // 2
    dry, processed = _part(dry, first, frames), _part(processed, first, frames)
    taps = min(_RESPONSE_TAPS, size // 2)
    response = np.ones((1, processed.channels))
    for _ in range(_RESPONSE_ROUNDS):
        trace = trace_gain(dry, processed, dry_channels=dry_channels, response=response)
        spectra = pair_spectra(gained(dry, trace), processed, dry_channels=dry_channels, size=size)
        response = minimum_phase(spectra, taps=taps)
    return response


def _placed_jumps(guide: Guide, fitted: FittedMap, track: DelayTrack) -> FittedMap:
    if len(fitted.map.starts) == 1:
        return fitted
    reach = int(np.diff(track.position).max() / 2) + window_length(guide.dry.frames)
    moved = place_jumps(
        guide.dry, guide.processed, dry_channels=guide.dry_channels, time_map=fitted.map, reach=reach
    )
    return FittedMap(moved, fitted.offset_std, fitted.drift_std)


def _explain_mismatch(guide: Guide, lag: int) -> NoReturn:
    if guide.dry.channels == 2:
        crossed = track_delay(Guide(guide.dry, guide.processed, (1, 0)), lag=lag)
        if crossed.unmatched < _MAX_UNMATCHED:
            raise PairingError(
                "left and right are exchanged between the two files: dry left matches processed right. "
                "Exchange them in one file, then run again. Both files kept as they are"
            )
    raise different("most windows of the one match nothing in the other")


def _common(guide: Guide, fitted: FittedMap) -> tuple[int, int]:
    """First dry frame with a counterpart, and how many have one."""
    frames, drift = guide.dry.frames, fitted.map.drift
    first = max(0, int(np.ceil(-fitted.map.delay_at(0))))
    end = (guide.processed.frames - 1 - fitted.map.delay_at(frames) + drift * frames) / (1 + drift)
    last = min(frames, int(np.floor(end)) + 1)
    if last - first < MIN_COMMON_S * guide.dry.rate_hz:
        raise PairingError(
            f"the two files share only {max(last - first, 0) / guide.dry.rate_hz:.2f} s of sound; at least "
            f"{MIN_COMMON_S:g} s are needed: export the same passage from both"
        )
    return first, last - first


def _drift(fitted: FittedMap) -> Reading:
    if fitted.drift_std is None:
        return Unmeasured(
            "ppm", "the sound is too short to tell the clocks apart", "use 10 s or more of the same take"
        )
    return Quantity.from_std(1e6 * fitted.map.drift, 1e6 * fitted.drift_std, "ppm")


def _jumps(fitted: FittedMap, rate_hz: int) -> tuple[Jump, ...]:
    time_map = fitted.map
    return tuple(
        Jump(time_map.starts[k] / rate_hz, time_map.offsets[k] - time_map.offsets[k - 1])
        for k in range(1, len(time_map.starts))
    )


def _notes(pair: AlignedPair, dry: Frames, processed: Frames, track: DelayTrack) -> tuple[str, ...]:
    notes = []
    if pair.polarity < 0:
        notes.append(
            "The processed file is inverted; the pair and the difference are written the right way up."
        )
    for jump in pair.jumps:
        way = "later" if jump.frames > 0 else "earlier"
        notes.append(
            f"The latency changes at {jump.at_s:.2f} s: from there the processed sound comes "
            f"{abs(jump.frames):.2f} samples {way}. Sound was lost, repeated or a delay switched; looked "
            "after in the pair, but listen elsewhere."
        )
    if pair.second_path is not None:
        notes.append(f"{pair.second_path.text} Colour and level are those of the mixture.")
    if dry.channels == 1 < processed.channels:
        notes.append("The dry file is mono; it stands beside every processed channel.")
    if track.unmatched > 0.05:
        notes.append(
            f"{100 * track.unmatched:.0f} % of the windows with sound match nothing in the other file: cut, "
            "muted or overlaid there?"
        )
    if pair.roles.verdict == "swapped":
        notes.append(
            f"From dry to processed the gain rises with level ({signed_text(pair.roles.slope, 2)} dB per "
            "dB): the files look swapped, or the stage is an expander. Nothing was exchanged."
        )
    return tuple(notes)
