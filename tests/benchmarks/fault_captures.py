"""Captures of devices through a rig, clean or with one fault put in."""

from __future__ import annotations

import subprocess
import tempfile
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import soundfile

from charprobe.files.sound.source import MemoryCapture
from charprobe.simulation.devices.catalogue import make_stage, stage_names
from charprobe.simulation.rig.fault_catalogue import apply_fault, fault_called
from charprobe.simulation.rig.rig import Rig, quantise
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.arrays import Array
from tests.benchmarks.bench_faults import BENCH_FAULTS
from tests.benchmarks.zoo.catalogue import stages

RATE_HZ = 48_000
BYPASS = "plain-wire"
SIZES = {  # mild and severe, beside the catalogue's typical one
    "added-silence": (0.05, 5.0), "automatic-gain": (6.0, 40.0), "click": (0.01, 1.0),
    "clipped": (1.0, 12.0), "clipped-below-full-scale": (-1.0, -12.0), "dc-offset": (0.002, 0.1),
    "diffuse-tail": (-50.0, -20.0), "dropout": (3.0, 4800.0), "edges-faded": (1.1, 4.0),
    "few-bits": (16.0, 4.0), "foreign-noise": (-80.0, -50.0), "gain-step": (0.1, 6.0),
    "gap-edited": (0.45, 0.1), "hum": (-90.0, -30.0), "level-drift": (0.1, 3.0),
    "low-level": (-40.0, -70.0), "music": (-90.0, -45.0), "normalised": (-3.0, -1.0),
    "path-ahead": (-40.0, -3.0), "ring-tone": (-75.0, -25.0), "spur": (-95.0, -30.0),
    "start-missing": (0.95, 5.0), "swinging-noise": (-85.0, -50.0), "timing-jump": (1.0, 9600.0),
    "timing-repeat": (1.0, 4800.0), "truncated": (0.04, 0.9), "two-paths": (-40.0, -3.0),
    "two-takes": (0.0, 10.0), "wow": (3.0, 1000.0),
}  # fmt: skip
CODERS = {  # encoder, kbit/s, container
    "coded mp3 320": ("libmp3lame", 320, "mp3"), "coded mp3 128": ("libmp3lame", 128, "mp3"),
    "coded aac 256": ("aac", 256, "m4a"), "coded opus 256": ("libopus", 256, "ogg"),
    "coded vorbis 320": ("libvorbis", 320, "ogg"), "coded sbc 328": ("sbc", 328, "sbc"), "coded sbc 229": ("sbc", 229, "sbc"),
    "coded ac3 448": ("ac3", 448, "ac3"), "coded mp2 384": ("mp2", 384, "mp2"),
    "coded aptx 352": ("aptx", 352, "aptx"),
}  # fmt: skip


@dataclass(frozen=True)
class Pair:
    """Captures of a setting and of its bypass, as they were handed over."""

    wet: MemoryCapture
    dry: MemoryCapture
    channel: int = 1


def unit_of(name: str) -> str:
    """Unit of a fault's size; empty where it has none."""
    return (BENCH_FAULTS.get(name) or fault_called(name)).unit


def sizes_of(name: str) -> tuple[float | None, ...]:
    """Mild, typical and severe size of a fault; None for one that has no size."""
    if name in BENCH_FAULTS:
        return BENCH_FAULTS[name].sizes
    fault = fault_called(name)
    return (SIZES[name][0], fault.typical, SIZES[name][1]) if fault.unit else (None,)


def stimulus_of(recipe: str, *, take: int = 1) -> Stimulus:
    return lay_out(load_recipe(recipe), rate_hz=RATE_HZ, take=take)


def through(device: str, played: Array, *, rate_hz: int, rng: np.random.Generator) -> Array:
    """What a reference stage, or one of other make, puts out."""
    if device in stage_names():
        return make_stage(device).process(played, rate_hz=rate_hz, rng=rng).samples
    return stages()[device].process(played, rate_hz).sound


@lru_cache(maxsize=16)
def recorded(
    device: str,
    recipe: str,
    seed: int,
    take: int = 1,
    played_bits: int | None = None,
    played_fault: tuple[str, float] | None = None,
    moved_db: float = 0.0,
    moved: tuple[float, float] = (0.5, 1.0),
) -> Array:
    """A capture of a device, shape (n, 1), clean but for what was played to it; do not write into it.

    Between two shares of the length its threshold is `moved_db` lower.
    """
    rng = np.random.default_rng(seed)
    played = render(stimulus_of(recipe, take=take))
    if played_bits is not None:
        played = quantise(played, bits=played_bits, dither=False, rng=rng)
    if played_fault is not None:
        name, size = played_fault
        own = 1e-10 * rng.standard_normal((played.size, 1))  # so that its chance differs from take to take
        played = BENCH_FAULTS[name].apply(played[:, None] + own, size, RATE_HZ)[:, 0]
    out = through(device, played, rate_hz=RATE_HZ, rng=rng)
    if moved_db:
        factor, (first, last) = 10 ** (moved_db / 20), (int(share * out.size) for share in moved)
        turned = through(device, factor * played, rate_hz=RATE_HZ, rng=rng) / factor
        out = np.concatenate([out[:first], turned[first:last], out[last:]])
    return usual_rig().record(out, rate_hz=RATE_HZ, rng=rng)


def usual_rig() -> Rig:
    return Rig(
        delay_samples=37.4, noise_dbfs=-110.0, ac_corner_hz=2.0, drift_ppm=23.0, lead_s=0.3, tail_s=0.3
    )


def capture(samples: Array, name: str, rate_hz: int = RATE_HZ) -> MemoryCapture:
    return MemoryCapture(samples, rate_hz=rate_hz, name=f"{name}.wav")


def put_in(name: str, samples: Array, size: float | None) -> Array:
    """One fault, or a coder and its decoder."""
    if name in BENCH_FAULTS and size is not None:
        return BENCH_FAULTS[name].apply(samples, size, RATE_HZ)
    if name not in CODERS:
        return apply_fault(name, samples, rate_hz=RATE_HZ, size=size)
    return coded(samples, *CODERS[name])


def coded(samples: Array, encoder: str, kbit: int, ending: str) -> Array:
    """What a coder and its decoder make of a capture, both channels alike."""
    quiet = ["ffmpeg", "-nostdin", "-v", "error", "-y"]
    with tempfile.TemporaryDirectory() as folder:
        plain, packed, out = (Path(folder) / file for file in ("in.wav", f"coded.{ending}", "out.wav"))
        soundfile.write(plain, np.repeat(samples[:, :1], 2, axis=1), RATE_HZ, subtype="FLOAT")
        rough = ["-strict", "-2", "-c:a", encoder, "-b:a", f"{kbit}k"]
        subprocess.run([*quiet, "-i", plain, *rough, packed], check=True)
        channels = ["-ar", str(RATE_HZ), "-ac", "2"] if ending == "aptx" else []
        subprocess.run([*quiet, *channels, "-i", packed, "-c:a", "pcm_f32le", out], check=True)
        return np.asarray(soundfile.read(out, always_2d=True)[0][:, :1], dtype=float)
