"""The level probe: short tones, quiet first, tell noise, gain, polarity, latency, clip point, channels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, rfft

from charprobe.values.arrays import Array
from charprobe.values.wording import number_text, signed_text

LEVELS_DBFS = (-40.0, -30.0, -20.0, -12.0, -6.0, -3.0, -1.0)
TONE_HZ, TONE_S, REST_S, CHIRP_S, RAMP_S = 997.0, 0.7, 0.5, 0.15, 0.02
CHIRP_HZ = (200.0, 8000.0)
CHIRP_DBFS = -40.0
HEARD_DB = 12.0  # a tone this far above the noise is there
ROOM_DBFS = -3.0  # peaks of the loudest step that leave room for the stage's own overshoot
FLAT_RUN = 3  # equal samples at the top of a wave: it is cut off
MOVED_DB = 0.3  # between the two halves of a steady tone: something rides the gain
SHRUNK_DB = 0.1


@dataclass(frozen=True)
class ChannelProbe:
    """What one input heard of one step; levels in dBFS, a full-scale sine is 0.

    `gain_db` and `delay_s` are None where the step is not heard, `polarity` is +1 or -1, `moved_db` is the
    gain of the tone's second half over that of its first.
    """

    channel: int
    peak_dbfs: float
    noise_dbfs: float
    gain_db: float | None
    delay_s: float | None
    polarity: int
    clipped: bool
    moved_db: float
    idle_zero: bool


@dataclass(frozen=True)
class Advice:
    """What the steps so far lead to: go on, or why not; what to set; what was noticed."""

    stop: str
    lines: tuple[str, ...]
    level_db: float


def probe_sound(level_dbfs: float, *, rate_hz: int) -> Array:
    """One step: silence, a quiet sweep that tells latency and polarity, silence, a tone of `level_dbfs`."""
    rest = np.zeros(round(REST_S * rate_hz))
    tone = _tone(rate_hz) * 10 ** (level_dbfs / 20)
    return np.concatenate([rest, _chirp(rate_hz), rest, tone, rest])


def read_probe(came: Array, level_dbfs: float, *, rate_hz: int) -> tuple[ChannelProbe, ...]:
    """Read what came back of `probe_sound`; `came` has shape (n, channels), n at least that of the sound."""
    return tuple(
        _channel(came[:, index], index + 1, level_dbfs, rate_hz=rate_hz) for index in range(came.shape[1])
    )


def advise(steps: Sequence[Sequence[ChannelProbe]], levels_dbfs: Sequence[float]) -> Advice:
    """Say what the steps heard so far lead to.

    Parameters
    ----------
    steps : sequence of sequence of ChannelProbe
        Step by step, the channels.
    levels_dbfs : sequence of float
        Level each step was played at.
    """
    last, first = steps[-1], steps[0]
    heard = [one for one in last if one.gain_db is not None]
    lines = [_text(one) for one in last]
    if not heard:
        stop = "no input hears the tone: check the patch, the record gain, and that nothing is muted"
        return Advice(stop if levels_dbfs[-1] >= LEVELS_DBFS[1] else "", tuple(lines), 0.0)
    for one in heard:
        start = next(
            (s for step in steps for s in step if s.channel == one.channel and s.gain_db is not None), one
        )
        shrunk = (start.gain_db or 0.0) - (one.gain_db or 0.0)
        if abs(one.moved_db) > MOVED_DB:
            lines.append(
                f"channel {one.channel}: a steady tone moves by {signed_text(one.moved_db, 1)} dB: the stage "
                "works, or an automatic gain or limiter of the recorder is on; switch that off"
            )
        elif shrunk > SHRUNK_DB and not one.clipped:
            lines.append(
                f"channel {one.channel}: {number_text(shrunk, 1)} dB less gain than at the quietest: the "
                "stage works here, or the recorder limits"
            )
        if one.idle_zero:
            lines.append(f"channel {one.channel}: exact zeros in silence: an idle mute or a gate is on")
    deaf = [str(one.channel) for one in last if one.gain_db is None]
    if deaf:
        lines.append(f"not heard on channel {', '.join(deaf)}: record only the channels that carry the tone")
    clipped = [one for one in heard if one.clipped]
    top = max(one.peak_dbfs for one in heard)
    if clipped:
        over = ", ".join(str(one.channel) for one in clipped)
        stop = (
            f"channel {over} clips at {levels_dbfs[-1]:g} dBFS played: turn the record gain down by "
            f"{number_text(top - ROOM_DBFS + 3, 0)} dB and probe again, or play 3 dB lower"
        )
        return Advice(stop, tuple(lines), _level(levels_dbfs, -3.0))
    if levels_dbfs[-1] >= LEVELS_DBFS[-1]:
        room = ROOM_DBFS - top
        turn = "down" if room < 0 else "up"
        if abs(room) > 3:
            lines.append(f"record gain can go {turn} by about {number_text(abs(room), 0)} dB")
        late = [one.delay_s for one in first if one.delay_s is not None]
        if late:
            lines.append(f"latency of the whole loop: {number_text(1000 * late[0], 2)} ms")
    return Advice("", tuple(lines), 0.0)


def _level(levels_dbfs: Sequence[float], more_db: float) -> float:
    """How far to turn the stimulus, whose peak is near the top step, down: to below the step that clipped."""
    below = levels_dbfs[-2] if len(levels_dbfs) > 1 else levels_dbfs[-1] + more_db
    return min(0.0, below - LEVELS_DBFS[-1])


def _text(one: ChannelProbe) -> str:
    if one.gain_db is None:
        return f"channel {one.channel}: not heard; noise {number_text(one.noise_dbfs, 0)} dBFS"
    return (
        f"channel {one.channel}: peak {number_text(one.peak_dbfs, 1)} dBFS, "
        f"gain {signed_text(one.gain_db, 2)} dB, "
        f"noise {number_text(one.noise_dbfs, 0)} dBFS"
        + (", inverted" if one.polarity < 0 else "")
        + (", CLIPS" if one.clipped else "")
    )


def _tone(rate_hz: int) -> Array:
    count, ramp = round(TONE_S * rate_hz), round(RAMP_S * rate_hz)
    tone = np.sin(2 * np.pi * TONE_HZ / rate_hz * np.arange(count))
    edge = np.sin(np.linspace(0, np.pi / 2, ramp)) ** 2
    tone[:ramp] *= edge
    tone[-ramp:] *= edge[::-1]
    return np.asarray(tone)


def _chirp(rate_hz: int) -> Array:
    """A quiet sweep whose phase grows with the square of time."""
    time_s = np.arange(round(CHIRP_S * rate_hz)) / rate_hz
    low, high = CHIRP_HZ
    phase = 2 * np.pi * (low * time_s + (high - low) * time_s**2 / (2 * CHIRP_S))
    return np.asarray(10 ** (CHIRP_DBFS / 20) * np.sin(phase) * np.sin(np.pi * time_s / CHIRP_S) ** 2)


def _channel(came: Array, channel: int, level_dbfs: float, *, rate_hz: int) -> ChannelProbe:
    """Read one input of one step."""
    rest, chirp = round(REST_S * rate_hz), _chirp(rate_hz)
    came = np.asarray(came, dtype=np.float64)
    delay, polarity = _arrival(came, chirp, rest)
    span = max(delay or 0, 0)
    quiet = came[: round(0.8 * rest)]
    noise = _rms_dbfs(quiet)
    start = 2 * rest + len(chirp) + span
    ramp = round(2 * RAMP_S * rate_hz)
    held = came[start + ramp : start + round(TONE_S * rate_hz) - ramp]
    level = _tone_dbfs(held, rate_hz)
    heard = delay is not None and level > _tone_dbfs(quiet, rate_hz) + HEARD_DB
    half = len(held) // 2
    moved = _tone_dbfs(held[half:], rate_hz) - _tone_dbfs(held[:half], rate_hz) if heard else 0.0
    peak = float(np.abs(came).max(initial=0.0))
    return ChannelProbe(
        channel=channel,
        peak_dbfs=20 * np.log10(max(peak, 1e-9)),
        noise_dbfs=noise,
        gain_db=level - level_dbfs if heard else None,
        delay_s=delay / rate_hz if heard and delay is not None else None,
        polarity=polarity,
        clipped=_is_cut(held, peak),
        moved_db=moved,
        idle_zero=bool(heard and len(quiet) and not quiet[len(quiet) // 2 :].any()),
    )


def _arrival(came: Array, chirp: Array, played_at: int) -> tuple[int | None, int]:
    """Samples between playing and hearing the sweep, and its polarity; None where it is not heard."""
    came = came[: 2 * played_at + len(chirp)]  # the tone, which is louder, has not come by then
    size = len(came) + len(chirp)
    match = irfft(rfft(came, size) * np.conj(rfft(chirp, size)), size)[: len(came)]
    at = int(np.argmax(np.abs(match)))
    rest = np.delete(np.abs(match), slice(max(0, at - len(chirp)), at + len(chirp)))
    if at < played_at or not len(rest) or np.abs(match[at]) < 4 * np.sqrt(np.mean(rest**2)):
        return None, 1
    return at - played_at, 1 if match[at] > 0 else -1


def _rms_dbfs(samples: Array) -> float:
    return float(10 * np.log10(max(2 * np.mean((samples - samples.mean()) ** 2), 1e-18)))


def _tone_dbfs(samples: Array, rate_hz: int) -> float:
    """Level of the tone in a stretch of sound."""
    turns = np.exp(-2j * np.pi * TONE_HZ / rate_hz * np.arange(len(samples))) * np.hanning(len(samples))
    size = 2 * np.abs(samples @ turns) / max(np.hanning(len(samples)).sum(), 1e-9)
    return float(20 * np.log10(max(size, 1e-9)))


def _is_cut(held: Array, peak: float) -> bool:
    """Whether the tops of a wave are flat."""
    if peak < 10 ** (-40 / 20):
        return False
    tops = np.abs(held) >= np.abs(held).max(initial=0.0) * (1 - 1e-6)
    runs = np.convolve(tops, np.ones(FLAT_RUN), "valid")
    return bool(peak >= 0.9999 or (runs >= FLAT_RUN).sum() >= 4)
