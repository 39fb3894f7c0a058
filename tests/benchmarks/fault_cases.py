"""What can be wrong with a pair of captures: faults in three sizes, pairs of faults, coded links, mixed-up files."""

from __future__ import annotations

import re
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from charprobe.files.sound.source import MemoryCapture
from charprobe.simulation.devices.catalogue import make_stage, stage_names
from charprobe.simulation.rig.fault_catalogue import apply_fault, fault_called, fault_names
from charprobe.simulation.rig.rig import Rig, quantise
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.stimulus.timetable import Stimulus
from tests.benchmarks.bench_faults import BENCH_FAULTS
from tests.benchmarks.desk_faults import copied_bypass
from tests.benchmarks.zoo.catalogue import stages

Array = NDArray[np.float64]

RATE_HZ = 48_000
BYPASS = "plain-wire"
SIZES = {  # mild and severe, beside the catalogue's typical one
    "added-silence": (0.05, 5.0),
    "automatic-gain": (6.0, 40.0),
    "click": (0.01, 1.0),
    "clipped": (1.0, 12.0),
    "clipped-below-full-scale": (-1.0, -12.0),
    "dc-offset": (0.002, 0.1),
    "diffuse-tail": (-50.0, -20.0),
    "dropout": (3.0, 4800.0),
    "edges-faded": (1.1, 4.0),
    "few-bits": (16.0, 4.0),
    "foreign-noise": (-80.0, -50.0),
    "gain-step": (0.1, 6.0),
    "gap-edited": (0.45, 0.1),
    "hum": (-90.0, -30.0),
    "level-drift": (0.1, 3.0),
    "low-level": (-40.0, -70.0),
    "music": (-90.0, -45.0),
    "normalised": (-3.0, -1.0),
    "path-ahead": (-40.0, -3.0),
    "ring-tone": (-75.0, -25.0),
    "spur": (-95.0, -30.0),
    "start-missing": (0.95, 5.0),
    "swinging-noise": (-85.0, -50.0),
    "timing-jump": (1.0, 9600.0),
    "timing-repeat": (1.0, 4800.0),
    "truncated": (0.04, 0.9),
    "two-paths": (-40.0, -3.0),
    "two-takes": (0.0, 10.0),
    "wow": (3.0, 1000.0),
}
# what a stage may itself do: in one capture alone there is no telling it from the stage
OF_BOTH_ONLY = (
    *("automatic-gain", "noise-suppressor", "low-level"),
    *(name for name, fault in BENCH_FAULTS.items() if fault.path),
)


@dataclass(frozen=True)
class Pair:
    """Captures of a setting and of its bypass, as they were handed over."""

    wet: MemoryCapture
    dry: MemoryCapture
    channel: int = 1


@dataclass(frozen=True)
class Case:
    """What is wrong: faults with their sizes (None where there is none), and whether in the bypass too."""

    faults: tuple[tuple[str, float | None], ...]
    both: bool
    rank: int = 1  # 0 mild, 1 typical, 2 severe

    @property
    def name(self) -> str:
        return " + ".join(name for name, _ in self.faults)

    @property
    def size_text(self) -> str:
        sizes = [f"{size:.3g} {_unit(name)}" for name, size in self.faults if size is not None]
        return " + ".join(sizes) or "–"


def _unit(name: str) -> str:
    if name in SIZED_MIX_UPS:
        return SIZED_MIX_UPS[name][0]
    return _unit_of_fault(name)


def _unit_of_fault(name: str) -> str:
    return (BENCH_FAULTS.get(name) or fault_called(name)).unit


# faults of the bypass alone: the setting's capture is as it should be
IN_THE_BYPASS = (
    *(
        "equaliser",
        "limiter-in-path",
        "gain-step",
        "level-drift",
        "two-paths",
        "hum",
        "spur",
        "music",
        "few-bits",
    ),
    *(
        "slow-gain",
        "notch",
        "low-cut",
        "soft-converter",
        "foreign-noise",
        "clip-safe",
        "brickwall",
        "widener",
    ),
    *(
        "two-converters",
        "low-level",
        "polarity-flips",
        "compensation-moves",
        "rate-matcher",
        "dc-offset",
        "ducked",
    ),
)
# faults that leave the whole take in place, drawn two at a time
PAIRED = (
    *("hum", "spur", "music", "ring-tone", "foreign-noise", "swinging-noise", "two-paths", "path-ahead"),
    *("diffuse-tail", "level-drift", "gain-step", "automatic-gain", "wow", "timing-jump", "dropout", "click"),
    *("dc-offset", "clipped", "clipped-below-full-scale", "few-bits", "normalised", "polarity-inverted"),
    *("rate-converted-twice", "rate-converted-short", "lossy-coded", "truncated", "start-missing"),
    *(name for name, fault in BENCH_FAULTS.items() if not fault.played),
)
# what the file suffers last, whatever happened to the sound before
IN_THE_FILE = (
    *("clipped", "few-bits", "rate-converted-twice", "rate-converted-short", "lossy-coded", "normalised"),
    *("timing-jump", "stale-buffer", "dropout", "start-missing", "truncated"),
)
CODERS = {  # encoder, kbit/s, container
    "coded mp3 320": ("libmp3lame", 320, "mp3"), "coded mp3 128": ("libmp3lame", 128, "mp3"),
    "coded aac 256": ("aac", 256, "m4a"), "coded opus 256": ("libopus", 256, "ogg"),
    "coded vorbis 320": ("libvorbis", 320, "ogg"), "coded sbc 328": ("sbc", 328, "sbc"), "coded sbc 229": ("sbc", 229, "sbc"),
    "coded ac3 448": ("ac3", 448, "ac3"), "coded mp2 384": ("mp2", 384, "mp2"),
    "coded aptx 352": ("aptx", 352, "aptx"),
}  # fmt: skip
PLAYED_IN_16 = "played in 16 bits"


def cases() -> list[Case]:
    """Faults in three sizes, coded links; in the setting alone and in both; mix-ups."""
    found = []
    for name in (*fault_names(), *BENCH_FAULTS):
        sizes = sizes_of(name)
        for number, size in enumerate(sizes):
            rank = number if len(sizes) > 1 else 1
            found.append(Case(((name, size),), True, rank))
            if name not in OF_BOTH_ONLY:
                found.append(Case(((name, size),), False, rank))
    found += [Case(((name, None),), both) for name in CODERS for both in (True, False)]
    found.append(Case(((PLAYED_IN_16, None),), True))
    for name, (_, sizes, _) in SIZED_MIX_UPS.items():
        found += [Case(((name, size),), False, rank) for rank, size in enumerate(sizes)]
    return found + [Case(((name, None),), False) for name in MIX_UPS]


def sizes_of(name: str) -> tuple[float | None, ...]:
    """Mild, typical and severe size of a fault; None for one that has no size."""
    if name in BENCH_FAULTS:
        return BENCH_FAULTS[name].sizes
    fault = fault_called(name)
    return (SIZES[name][0], fault.typical, SIZES[name][1]) if fault.unit else (None,)


def pairs(count: int, seed: int) -> list[Case]:
    """Pairs of faults drawn from `PAIRED`, of mild and typical sizes, in both captures."""
    rng = np.random.default_rng(seed)
    every = list(combinations(PAIRED, 2))
    found = []
    for at in rng.permutation(len(every))[:count]:
        named = sorted(every[at], key=lambda name: IN_THE_FILE.index(name) if name in IN_THE_FILE else -1)
        rank = int(rng.integers(2))
        sizes = [sizes_of(name) for name in named]
        parts = tuple(
            (name, each[rank] if len(each) > 1 else None) for name, each in zip(named, sizes, strict=True)
        )
        found.append(Case(parts, True, rank))
    return found


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
) -> Array:
    """A capture of a device, shape (n, 1), clean but for what was played to it; do not write into it.

    From the middle on its threshold is `moved_db` lower.
    """
    rng = np.random.default_rng(seed)
    played = render(stimulus_of(recipe, take=take))
    if played_bits is not None:
        played = quantise(played, bits=played_bits, dither=False, rng=rng)
    if played_fault is not None:
        name, size = played_fault
        played = BENCH_FAULTS[name].apply(played[:, None], size, RATE_HZ)[:, 0]
    out = through(device, played, rate_hz=RATE_HZ, rng=rng)
    if moved_db:
        factor, middle = 10 ** (moved_db / 20), out.size // 2
        out = np.concatenate(
            [out[:middle], through(device, factor * played, rate_hz=RATE_HZ, rng=rng)[middle:] / factor]
        )
    return _rig().record(out, rate_hz=RATE_HZ, rng=rng)


def _rig() -> Rig:
    return Rig(
        delay_samples=37.4, noise_dbfs=-110.0, ac_corner_hz=2.0, drift_ppm=23.0, lead_s=0.3, tail_s=0.3
    )


def capture(samples: Array, name: str, rate_hz: int = RATE_HZ) -> MemoryCapture:
    return MemoryCapture(samples, rate_hz=rate_hz, name=f"{name}.wav")


def pair_of(case: Case, device: str, recipe: str, seed: int) -> Pair | None:
    """The captures of a case; None where the fault leaves the setting's capture as it was."""
    wet, dry = recorded(device, recipe, 2 * seed), recorded(BYPASS, recipe, 2 * seed + 1)
    if case.name in MIX_UPS:
        return MIX_UPS[case.name](wet, dry, device, recipe)
    if case.name in SIZED_MIX_UPS:
        size = case.faults[0][1]
        assert size is not None
        return SIZED_MIX_UPS[case.name][2](wet, dry, device, recipe, size)
    if case.name in BENCH_FAULTS and BENCH_FAULTS[case.name].played:
        (name, size), *_ = case.faults
        assert size is not None
        driven = (
            recorded(each, recipe, 2 * seed + at, played_fault=(name, size))
            for at, each in enumerate((device, BYPASS))
        )
        return Pair(*(capture(samples, name) for samples, name in zip(driven, (device, BYPASS), strict=True)))
    if case.name == PLAYED_IN_16:
        rough = (
            recorded(name, recipe, 2 * seed + at, played_bits=16) for at, name in enumerate((device, BYPASS))
        )
        return Pair(*(capture(samples, name) for samples, name in zip(rough, (device, BYPASS), strict=True)))
    faulty, other = wet, dry
    for name, size in case.faults:
        if name == "clipped":  # both were taken with the gain that makes the setting's capture clip
            gain = 10 ** (size / 20) / np.abs(faulty).max()
            faulty, other = np.clip(gain * faulty, -1, 1), gain * other
            other = np.clip(other, -1, 1) if case.both else other
            continue
        faulty = put_in(name, faulty, size)
        other = put_in(name, other, size) if case.both else other
    if faulty.shape == wet.shape and np.array_equal(faulty, wet):
        return None
    return Pair(capture(faulty, device), capture(other, BYPASS))


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


def _noise_like(samples: Array) -> Array:
    return 10 ** (-110 / 20) / np.sqrt(2) * np.random.default_rng(7).standard_normal(samples.shape)


def _stimulus_itself(recipe: str) -> MemoryCapture:
    return capture(render(stimulus_of(recipe))[:, None], "stimulus")


def _other_recipe(wet: Array, dry: Array, device: str, recipe: str) -> Pair:
    other = recorded(device, "link" if recipe == "quick" else "quick", 2)
    return Pair(capture(other, device), capture(dry, BYPASS))


def _older_recipe(_: Array, dry: Array, device: str, recipe: str) -> Pair:
    """The setting was recorded with an older stimulus of the same name, one of its pauses 20 ms shorter."""
    text = Path(f"stimuli/{recipe}.toml").read_text(encoding="utf-8")
    first = re.search(r"^gap_s = ([0-9.]+)", text, re.MULTILINE)
    assert first is not None
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder, f"{recipe}.toml")
        older = text.replace(first.group(0), f"gap_s = {float(first.group(1)) - 0.02:.3f}", 1)
        file.write_text(older, encoding="utf-8")
        played = render(lay_out(load_recipe(str(file)), rate_hz=RATE_HZ, take=1))
    rng = np.random.default_rng(5)
    return Pair(
        capture(
            _rig().record(through(device, played, rate_hz=RATE_HZ, rng=rng), rate_hz=RATE_HZ, rng=rng), device
        ),
        capture(dry, BYPASS),
    )


def _other_day(wet: Array, _: Array, device: str, recipe: str, gain_db: float) -> Pair:
    """The bypass is of another interface: its own gain, delay, clock, noise and coupling."""
    rng = np.random.default_rng(6)
    rig = Rig(
        gain_db=gain_db, delay_samples=911.3, noise_dbfs=-97.0, ac_corner_hz=6.0, drift_ppm=-31.0, lead_s=0.7,
        tail_s=0.2,
    )  # fmt: skip
    played = render(stimulus_of(recipe))
    return Pair(capture(wet, device), capture(rig.record(played, rate_hz=RATE_HZ, rng=rng), BYPASS))


def _in_the_bypass(name: str) -> Callable[[Array, Array, str, str, float], Pair]:
    return lambda wet, dry, device, _, size: Pair(
        capture(wet, device), capture(put_in(name, dry, size), BYPASS)
    )


MIX_UPS: dict[str, Callable[[Array, Array, str, str], Pair]] = {
    "channel-dead": lambda wet, dry, device, _: Pair(
        capture(np.hstack([wet, 1e-3 * _noise_like(wet)]), device), capture(dry, BYPASS), channel=2
    ),
    "dual-mono": lambda wet, dry, device, _: Pair(
        capture(np.hstack([wet, wet]), device), capture(dry, BYPASS), channel=2
    ),
    "equals-stimulus": lambda _, dry, device, recipe: Pair(_stimulus_itself(recipe), capture(dry, BYPASS)),
    "equals-other-capture": lambda wet, _, device, __: Pair(capture(wet, device), capture(wet, "copy")),
    "swapped-roles": lambda wet, _, device, recipe: Pair(_stimulus_itself(recipe), capture(wet, device)),
    "rate-mislabelled": lambda wet, dry, device, _: Pair(capture(wet, device, 44_100), capture(dry, BYPASS)),
    "wrong-stimulus": _other_recipe,
    "older-stimulus": _older_recipe,
    "wrong-take": lambda _, dry, device, recipe: Pair(
        capture(recorded(device, recipe, 4, take=7), device), capture(dry, BYPASS)
    ),
    "stimulus-not-found": lambda wet, dry, device, _: Pair(
        capture(_noise_like(wet), device), capture(dry, BYPASS)
    ),
}  # fmt: skip
SIZED_MIX_UPS: dict[str, tuple[str, tuple[float, ...], Callable[[Array, Array, str, str, float], Pair]]] = {
    "setting-changed": (
        "dB", (0.5, 3.0, 10.0),
        lambda _, dry, device, recipe, size: Pair(
            capture(recorded(device, recipe, 2, moved_db=size), device), capture(dry, BYPASS)
        ),
    ),
    "copied-bypass": (
        "dB", (0.0, -1.0, -6.0),
        lambda wet, _, device, __, size: Pair(
            capture(wet, device), capture(copied_bypass(wet, size, RATE_HZ), "copy")
        ),
    ),
    "bypass-of-another": (
        "dB", (0.0, -3.0, -12.0),
        lambda wet, _, device, recipe, size: Pair(
            capture(wet, device), capture(10 ** (size / 20) * recorded("feedforward-rms-soft", recipe, 8), "other")
        ),
    ),
    "bypass-coloured": (
        "dB", (0.0, -3.0, -12.0),
        lambda wet, _, device, recipe, size: Pair(
            capture(wet, device), capture(10 ** (size / 20) * recorded("exact-colour", recipe, 8), "other")
        ),
    ),
    "bypass-of-another-day": ("dB", (-0.1, -1.0, -6.0), _other_day),
    **{
        f"{name} in the bypass": (_unit_of_fault(name), sizes_of(name), _in_the_bypass(name))
        for name in IN_THE_BYPASS
    },
}  # fmt: skip
