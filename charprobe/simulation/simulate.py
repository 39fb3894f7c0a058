"""A sound file through a reference stage and a rig, as a recorder would have caught it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from charprobe.files.output import check_writable
from charprobe.files.sound.sample_codes import WrittenEncoding
from charprobe.files.sound.sound_file import open_capture, write_wav
from charprobe.files.sound.source import Source
from charprobe.simulation.devices.stage import Stage
from charprobe.simulation.devices.stereo import LinkedPair
from charprobe.simulation.rig.fault_catalogue import apply_fault, fault_called
from charprobe.simulation.rig.rig import Rig
from charprobe.values.arrays import Array
from charprobe.values.errors import CharprobeError
from charprobe.values.one_thread import WHOLE_CAPTURES, keep_freed_memory, on_one_thread


@dataclass(frozen=True)
class Recorded:
    """A capture of a stage, shape (m, channels), and the gain the stage had while it played, shape (n,)."""

    capture: Array
    gain_db: Array


@on_one_thread
def record_with_gain(stage: Stage, samples: Array, *, rig: Rig, rate_hz: int, seed: int) -> Recorded:
    """Send one channel through a stage and record it and the stage's own gain; see `record_stage`."""
    keep_freed_memory(WHOLE_CAPTURES)
    rng = np.random.default_rng(seed)
    out = stage.process(samples, rate_hz=rate_hz, rng=rng)
    return Recorded(rig.record(out.samples, rate_hz=rate_hz, rng=rng), out.gain_db)


def record_stage(stage: Stage, samples: Array, *, rig: Rig, rate_hz: int, seed: int) -> Array:
    """Send one channel, full scale = 1, through a stage and record it; shape (m, channels).

    `seed` is that of all noise: the same seed gives the same capture.
    """
    return record_with_gain(stage, samples, rig=rig, rate_hz=rate_hz, seed=seed).capture


def record_pair(stage: Stage, samples: Array, *, rig: Rig, rate_hz: int, seed: int) -> Array:
    """Send two channels through two units of a stage, or through a linked pair, and record them.

    Parameters as in `record_stage`, but `samples` has shape (n, 2); so has what is returned, (m, 2).
    """
    rng = np.random.default_rng(seed)
    if isinstance(stage, LinkedPair):
        out, _ = stage.process_pair(samples, rate_hz=rate_hz)
    else:
        out = np.stack([stage.process(side, rate_hz=rate_hz, rng=rng).samples for side in samples.T], axis=1)
    return rig.record_channels(out, rate_hz=rate_hz, rng=rng)


def simulate_file(
    stage: Stage,
    source: Path,
    target: Path,
    *,
    rig: Rig,
    seed: int,
    force: bool,
    faults: Sequence[tuple[str, float | None, float | None]] = (),
) -> Source:
    """Send one channel of a sound file, or both of a pair, through a stage and a rig; write the capture.

    Of files with more than two channels the first is played. 24-bit rigs write 24-bit files, all others
    float32. Faults, by name, size and time in ms (None for the typical ones), are added in order after the
    rig. Returns the input's facts as an open source. `CharprobeError` if the input is not a sound file, the
    target cannot be written, there is no such fault, or the file could not hold it.
    """
    known = [fault_called(name) for name, *_ in faults]
    whole = next((name for (name, *_), fault in zip(faults, known, strict=True) if fault.needs_float), None)
    if whole is not None and rig.bits is not None:
        raise CharprobeError(f"the fault {whole} needs a float file: leave out --bits")
    check_writable(target, force=force, sound=True)
    played = open_capture(source)
    samples = played.read(0, played.frames, 0)
    if played.channels == 2:
        pair = np.stack([samples, played.read(0, played.frames, 1)], axis=1)
        capture = record_pair(stage, pair, rig=rig, rate_hz=played.rate_hz, seed=seed)
    else:
        capture = record_stage(stage, samples, rig=rig, rate_hz=played.rate_hz, seed=seed)
    for name, size, time_ms in faults:
        capture = apply_fault(name, capture, rate_hz=played.rate_hz, size=size, time_ms=time_ms)
    subtype: WrittenEncoding = "pcm24" if rig.bits == 24 else "float32"
    write_wav(target, capture, rate_hz=played.rate_hz, subtype=subtype, force=force)
    return played
