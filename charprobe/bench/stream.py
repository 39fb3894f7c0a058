"""One take: a stimulus played and recorded in one full-duplex stream, written to the disk as it comes in."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Literal, Protocol

import numpy as np

from charprobe.bench.devices import Patch, answer_of, backend, exclusive_of
from charprobe.bench.pulse import Pulse
from charprobe.bench.ring import Ring
from charprobe.bench.stopping import Ended, signals_heard
from charprobe.files.sound.growing_wav import GrowingWav
from charprobe.values.arrays import Array
from charprobe.values.errors import DeviceGoneError, LiveError, SoundFileError
from charprobe.values.wording import literal

RING_S = 20.0  # of sound that a slow disk may be behind
CLOSING_S = 3.0  # that closing a stream may take; a dead server never answers
FADE_S = 0.005
SETTLE_EVERY_S, LOOK_EVERY_S = 0.5, 0.05
MOST_FLAGS = 1000
Ending = Literal["whole", "stopped by hand", "told to end", "device gone", "disk"]


@dataclass(frozen=True)
class Flag:
    """Something the driver or the system did, and the second of the take; it proves nothing by itself."""

    time_s: float
    text: str


@dataclass(frozen=True)
class TakeEnd:
    """How a take ended: `frames` are on the disk, `lost` found no room; `message` says what went wrong."""

    path: Path
    ending: Ending
    frames: int
    lost: int
    flags: tuple[Flag, ...]
    message: str = ""

    def error(self, place: Path) -> LiveError | None:
        """Return what to raise where device or disk cannot go on; `place` is where the sound is by now."""
        if self.ending in ("whole", "stopped by hand"):
            return None
        return (DeviceGoneError if self.ending == "device gone" else LiveError)(f"{self.message}: {place}")


class Stream(Protocol):
    """What is used of a sound stream."""

    def start(self) -> None:
        """Begin to call back."""

    def abort(self) -> None:
        """End at once, without playing what is buffered."""

    def close(self) -> None:
        """Give the device back."""


Callback = Callable[[Array, Array, int, object, object], None]
OpenStream = Callable[[Patch, Callback], Stream]


class Meter(Protocol):
    """Hears, about twenty times a second, how a take goes on."""

    def __call__(self, *, left_s: float, peaks: Array) -> None:
        """`left_s` seconds are left; `peaks` holds the largest sample per channel since the last time."""


def open_stream(patch: Patch, callback: Callback) -> Stream:
    """Open a full-duplex stream of the system's sound devices."""
    sound = backend()
    try:
        stream: Stream = answer_of(
            partial(
                sound.Stream,
                samplerate=patch.rate_hz,
                device=(patch.record.number, patch.play.number),
                channels=(max(patch.inputs), max(patch.outputs)),
                dtype="float32",
                latency="high",
                clip_off=True,
                dither_off=True,
                extra_settings=(exclusive_of(patch, patch.record), exclusive_of(patch, patch.play)),
                callback=callback,
            )
        )
    except sound.PortAudioError as error:
        raise DeviceGoneError(  # asked to end itself after this, the library may crash
            f"{literal(patch.play.name)} and {literal(patch.record.name)} could not be opened "
            f"({error.args[0]}): is another program using them, were they unplugged, did the sound server "
            "end? Nothing was played; the same command goes on from here"
        ) from None
    return stream


def record_take(
    patch: Patch,
    sound: Array,
    path: Path,
    *,
    meter: Meter,
    after_s: float = 0.7,
    opened: OpenStream = open_stream,
) -> TakeEnd:
    """Play a sound and record every input of a patch meanwhile, and `after_s` longer, which latency needs.

    The patch is one that `check_patch` let pass. A sound of shape (n,), full scale = 1, goes to all outputs,
    one of shape (n, 2) to the first two. What comes back is on the disk at least twice a second: a new
    float32 WAV; `meter` hears of time left and levels.

    Ctrl-C mutes at once and ends the take, even where it was ignored before; so do the system's wish to end,
    a terminal that is gone, a device that stops calling back, and a full disk. `LiveError` if the sound is
    louder than full scale, or the stream cannot be opened.
    """
    duplex = _Duplex(patch, sound, after_s)
    stream = opened(patch, duplex.call_back)
    ending: Ending = "disk"
    message = ""
    try:
        file = GrowingWav(path, rate_hz=patch.rate_hz, channels=len(patch.inputs))
    except SoundFileError:
        _closed(stream)
        raise
    try:
        with file, signals_heard():
            ending, message = _watched(stream, duplex, file, meter)
    except SoundFileError as error:  # not even the last of it fits
        ending, message = "disk", message or str(error)
    return TakeEnd(path, ending, file.frames, duplex.ring.lost, tuple(duplex.flags), message)


def _watched(stream: Stream, duplex: _Duplex, file: GrowingWav, meter: Meter) -> tuple[Ending, str]:
    """Write what comes in until the take is whole, and say how it ended."""
    ending: Ending = "whole"
    message, settled = "", time.monotonic()
    try:
        answer_of(stream.start)
        pulse = Pulse(file.rate_hz, time.monotonic())
        while duplex.frame < duplex.length:
            time.sleep(LOOK_EVERY_S)
            now = time.monotonic()
            if stood_s := pulse.stood_s(now):
                text = f"the program stood still for {stood_s:.1f} s"
                duplex.flags.append(Flag(file.frames / file.rate_hz, text))
            file.append(duplex.ring.take())
            if now - settled > SETTLE_EVERY_S:
                file.settle()
                settled = now
            if trouble := pulse.trouble(duplex.frame, now):
                ending = "device gone"
                message = (
                    f"the sound device {trouble}: check cable and sound server, then run the same command "
                    "again. What was recorded is kept"
                )
                break
            meter(left_s=(duplex.length - duplex.frame) / file.rate_hz, peaks=duplex.taken_peaks())
    except KeyboardInterrupt as stop:
        ending = "told to end" if isinstance(stop, Ended) else "stopped by hand"
        by = f"ended by {stop}" if isinstance(stop, Ended) else ending
        message = f"{by}: output muted, what was recorded is kept"
        duplex.mute()
    except DeviceGoneError as error:
        ending, message = "device gone", str(error)
    except SoundFileError as error:
        ending, message = "disk", str(error)
        duplex.mute()
    if not _closed(stream):
        ending, message = "device gone", message or "the sound device does not answer any more"
    if ending != "disk":
        file.append(duplex.ring.take())
    return ending, message


def _closed(stream: Stream) -> bool:
    """Close a stream; False if it never answers, in which case it is left alone."""

    def close() -> None:
        stream.abort()
        stream.close()

    closing = threading.Thread(target=close, daemon=True)
    closing.start()
    closing.join(CLOSING_S)
    return not closing.is_alive()


class _Duplex:
    """What the sound callback works on; it allocates nothing that grows and waits for nobody."""

    def __init__(self, patch: Patch, sound: Array, after_s: float) -> None:
        played = np.atleast_2d(np.asarray(sound, dtype=np.float32).T).T
        gain = 10 ** (patch.level_db / 20)
        if patch.level_db > 0 or (peak := float(np.abs(played).max(initial=0.0))) > 1:
            turned = (
                f"turned up by {patch.level_db:g} dB" if patch.level_db > 0 else f"with a peak of {peak:g}"
            )
            raise LiveError(f"a sound {turned} would clip: play at 0 dB or less. Nothing was played")
        self.sound = np.zeros((len(played), max(patch.outputs)), dtype=np.float32)
        for index, output in enumerate(patch.outputs):
            if index < played.shape[1] or played.shape[1] == 1:
                self.sound[:, output - 1] = gain * played[:, min(index, played.shape[1] - 1)]
        self.length = len(played) + round(after_s * patch.rate_hz)
        self.columns = [channel - 1 for channel in patch.inputs]
        self.ring = Ring(round(RING_S * patch.rate_hz), len(self.columns))
        self.rate_hz, self.frame, self.flags = patch.rate_hz, 0, list[Flag]()
        self._gain, self._target = 1.0, 1.0
        self._peaks = np.zeros(len(self.columns), dtype=np.float32)

    def call_back(self, came: Array, goes: Array, frames: int, _when: object, status: Any) -> None:
        """Play the next frames and hand over those that came."""
        first = self.frame
        last = min(first + frames, len(self.sound))
        goes.fill(0)
        if last > first and (self._gain or self._target):
            goes[: last - first] = self.sound[first:last]
            if self._gain != self._target or self._gain != 1.0:
                fall = self._gain - np.arange(last - first, dtype=np.float32) / (FADE_S * self.rate_hz)
                goes[: last - first] *= np.maximum(fall, self._target)[:, None]
                self._gain = max(float(fall[-1]), self._target)
        heard = came[: max(0, self.length - first), self.columns]
        self.ring.put(heard)
        if len(heard):
            np.maximum(self._peaks, np.abs(heard).max(axis=0), out=self._peaks)
        if status and len(self.flags) < MOST_FLAGS:
            self.flags.append(Flag(first / self.rate_hz, str(status)))
        self.frame = min(first + frames, self.length)

    def mute(self) -> None:
        """Fade the output to silence within 5 ms, and give the callback the time to do so."""
        self._target = 0.0
        before = self.frame
        until = time.monotonic() + 0.5
        while self.frame in (before, self.length) and time.monotonic() < until:
            time.sleep(FADE_S)
        time.sleep(2 * FADE_S)

    def taken_peaks(self) -> Array:
        """Largest sample per channel since the last time."""
        found = self._peaks.copy()
        self._peaks[:] = 0
        return np.asarray(found, dtype=np.float64)
