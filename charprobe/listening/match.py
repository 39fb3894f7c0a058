"""Making two files equally loud by turning one of them down, and proving it on the written files."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from charprobe.files.sound.frames import Frames, View, frame_blocks
from charprobe.files.sound.loudness import LoudnessMeter, channel_weights
from charprobe.files.sound.sound_file import open_capture, write_wav_blocks
from charprobe.listening.aligning.pairing import AlignedPair
from charprobe.listening.programme_gain import ProgrammeGain, trace_gain
from charprobe.listening.true_peak import TruePeakMeter
from charprobe.values.arrays import Array
from charprobe.values.errors import CharprobeError
from charprobe.values.quantity import Unmeasured
from charprobe.values.wording import signed_text

Rule = Literal["loudness", "rms", "low-level"]
RULES: tuple[Rule, ...] = ("loudness", "rms", "low-level")
TOLERANCE_DB = 0.02
HIGHEST_PEAK = 10 ** (-0.1 / 20)  # true peak of the written files: leaves room for dither and for players
_QUIETEST_SHARE = 0.2  # of the moments with sound: these give the low-level gain
_NO_READING = {
    "loudness": "Too short or too quiet for gated loudness: matched by RMS instead.",
    "low-level": "The gain is known at no moment, so there is no low-level one: matched by RMS instead.",
}
_STEP = 2.0**-23
_ROUNDS = 4


class MatchError(CharprobeError):
    """Two files cannot be matched to the stated tolerance."""


@dataclass(frozen=True)
class Levels:
    """Level of a file by the rules that need no partner, and its true peak (full scale = 1)."""

    loudness_lufs: float | Unmeasured
    rms_dbfs: float
    true_peak: float


@dataclass(frozen=True)
class Matched:
    """What was turned down, and how far the written files are still apart.

    Attributes
    ----------
    rule : {"loudness", "rms", "low-level"}
        The rule that was followed: "rms" where loudness was asked for but the sound is too short or quiet.
    dry_gain_db, processed_gain_db : float
        At most 0.
    before_db : dict of str to float
        Processed minus dry before matching, by every rule that gives a reading.
    after_db : dict of str to float
        The same, measured on the written files.
    notes : tuple of str
        Plain sentences.
    """

    rule: Rule
    dry_gain_db: float
    processed_gain_db: float
    before_db: dict[str, float]
    after_db: dict[str, float]
    notes: tuple[str, ...]


def measure_levels(source: Frames) -> Levels:
    """Measure loudness, RMS and true peak in one walk through a file."""
    meter = LoudnessMeter(rate_hz=source.rate_hz, weights=channel_weights(source.channels))
    peak = TruePeakMeter(rate_hz=source.rate_hz, channels=source.channels)
    energy = 0.0
    for block in frame_blocks(source):
        meter.add(block)
        peak.add(block)
        energy += float(np.sum(block**2))
    rms = energy / (source.frames * source.channels)
    return Levels(meter.result().integrated_lufs, float(10 * np.log10(2 * rms + 1e-30)), peak.peak())


def low_level_gain_db(trace: ProgrammeGain) -> float | None:
    """Gain where the dry sound is quietest: the median over the quietest fifth of the moments with sound.

    None where the gain is known at no moment.
    """
    level = trace.level_dbfs[trace.known]
    if level.size == 0:
        return None
    quiet = level <= np.quantile(level, _QUIETEST_SHARE)
    return float(np.median(trace.gain_db[trace.known][quiet]))


def differences_db(dry: Levels, processed: Levels, *, low_level_db: float | None) -> dict[str, float]:
    """Processed minus dry, by each rule that gives a reading."""
    found = {"rms": processed.rms_dbfs - dry.rms_dbfs}
    if low_level_db is not None:
        found["low-level"] = low_level_db
    if not isinstance(dry.loudness_lufs, Unmeasured) and not isinstance(processed.loudness_lufs, Unmeasured):
        found["loudness"] = processed.loudness_lufs - dry.loudness_lufs
    return found


def write_matched(
    pair: AlignedPair, *, trace: ProgrammeGain, rule: Rule, dry_path: Path, processed_path: Path
) -> Matched:
    """Write a pair of 24-bit files of equal length and start, matched by `rule` within 0.02 dB.

    The files must not exist. The dry one is written with as many channels as the processed one, which is
    turned the right way up and dithered: read between its frames, it no longer has whole 24-bit steps.
    `MatchError` if the written files differ by more.
    """
    wide = routed(pair.dry, pair.dry_channels)
    levels = measure_levels(wide), measure_levels(pair.processed)
    before = differences_db(*levels, low_level_db=low_level_gain_db(trace))
    notes: list[str] = []
    used: Rule = rule
    if rule not in before:
        used = "rms"
        notes.append(_NO_READING[rule])
    excess = before[used]
    for _ in range(_ROUNDS):
        gains = _gains(excess, levels)
        _write(dry_path, wide, gain_db=gains[0], sign=1, dither=gains[0] != 0, salt=1)
        _write(processed_path, pair.processed, gain_db=gains[1], sign=pair.polarity, dither=True, salt=2)
        after = _measured(dry_path, processed_path, low_level=used == "low-level")
        left = after.get(used, np.inf)
        if abs(left) <= TOLERANCE_DB / 4 or used not in after:
            break
        excess += left
    if abs(left) > TOLERANCE_DB:
        dry_path.unlink()
        processed_path.unlink()
        raise MatchError(
            f"the written files differ by {signed_text(left, 3)} dB by the rule '{used}', {TOLERANCE_DB} dB "
            f"are allowed: choose another rule or a longer excerpt. Nothing was kept"
        )
    if "low-level" in before and "low-level" not in after:
        after |= {"low-level": before["low-level"] + gains[1] - gains[0]}
    return Matched(used, gains[0], gains[1], before, after, (*notes, *_told(gains, before[used], levels)))


def _gains(excess: float, levels: tuple[Levels, Levels]) -> tuple[float, float]:
    """Gains of dry and processed, at most 0 dB: the louder goes down, both if a peak would not fit."""
    gains = (min(excess, 0.0), min(-excess, 0.0))
    peaks = [level.true_peak * 10 ** (gain / 20) for level, gain in zip(levels, gains, strict=True)]
    over = max(0.0, 20 * np.log10(max(peaks) / HIGHEST_PEAK))
    return gains[0] - over, gains[1] - over


def _told(gains: tuple[float, float], before: float, levels: tuple[Levels, Levels]) -> list[str]:
    louder, quieter = ("dry", "processed") if before < 0 else ("processed", "dry")
    notes = []
    if abs(before) >= 0.005:
        room = levels[1 if quieter == "processed" else 0].true_peak * 10 ** (abs(before) / 20)
        clips = "; raising the other would have clipped" if room > 1 else ""
        notes.append(f"The {louder} file was lowered by {abs(before):.2f} dB{clips}.")
    if max(gains) < -0.005:
        notes.append(
            f"Both were lowered by {-max(gains):.2f} dB, so that no peak between samples exceeds full scale."
        )
    return notes


def _measured(dry_path: Path, processed_path: Path, *, low_level: bool) -> dict[str, float]:
    dry, processed = open_capture(dry_path), open_capture(processed_path)
    if (dry.frames, dry.channels, dry.rate_hz) != (processed.frames, processed.channels, processed.rate_hz):
        raise MatchError(
            "the written files differ in length or format: the disk is failing. Nothing was kept"
        )
    low_level_db = None
    if low_level:
        channels = tuple(range(processed.channels))
        flat = np.ones((1, processed.channels))
        low_level_db = low_level_gain_db(trace_gain(dry, processed, dry_channels=channels, response=flat))
    return differences_db(measure_levels(dry), measure_levels(processed), low_level_db=low_level_db)


def routed(source: Frames, picks: tuple[int, ...]) -> Frames:
    """Return chosen channels in the order given; a mono file can so stand beside several channels."""
    return View(source.rate_hz, source.frames, len(picks), lambda a, b: source.read_frames(a, b)[:, picks])


def _write(path: Path, source: Frames, *, gain_db: float, sign: int, dither: bool, salt: int) -> None:
    rng = np.random.default_rng(salt)
    factor = sign * 10 ** (gain_db / 20)
    path.unlink(missing_ok=True)
    write_pcm24(path, source, factor=factor, rng=rng if dither else None)


def write_pcm24(path: Path, source: Frames, *, factor: float, rng: np.random.Generator | None) -> None:
    """Write a source times `factor` as 24-bit WAV, block by block, and read it back.

    With `rng`, triangular dither of one step each way precedes the rounding. Values beyond full scale are
    refused, never wrapped: `SoundFileError`, as where the file does not read back equal.
    """

    def stored() -> Iterator[Array]:
        for block in frame_blocks(source):
            values = block * factor
            if rng is not None:
                values = values + _STEP * (rng.random(values.shape) - rng.random(values.shape))
            yield np.clip(np.round(values / _STEP) * _STEP, -1.0, None)

    size = (source.frames, source.channels)
    write_wav_blocks(path, stored(), size=size, rate_hz=source.rate_hz, subtype="pcm24", force=False)
