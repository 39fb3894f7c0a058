"""Files that were mixed up, settings turned midway, and faults of the bypass alone."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy import signal

from charprobe.files.sound.source import MemoryCapture
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.arrays import Array
from tests.benchmarks.desk_faults import copied_bypass
from tests.benchmarks.fault_captures import (
    BYPASS,
    RATE_HZ,
    Pair,
    capture,
    put_in,
    recorded,
    sizes_of,
    stimulus_of,
    through,
    unit_of,
    usual_rig,
)

Sized = Callable[[Array, Array, str, str, float], Pair]
# faults of the bypass alone: the setting's capture is as it should be
IN_THE_BYPASS = (
    "equaliser", "limiter-in-path", "gain-step", "level-drift", "two-paths", "hum", "spur", "music",
    "few-bits", "slow-gain", "notch", "low-cut", "soft-converter", "foreign-noise", "clip-safe",
    "brickwall", "widener", "two-converters", "low-level", "polarity-flips", "compensation-moves",
    "rate-matcher", "dc-offset", "ducked", "iron-in-path", "even-bend", "long-cable", "soft-limit",
    "phase-turned", "shifted", "block-scaled", "hiss-grows", "dynamic-filter", "treble-invented",
    "snapped-to-grid",
)  # fmt: skip


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
            usual_rig().record(through(device, played, rate_hz=RATE_HZ, rng=rng), rate_hz=RATE_HZ, rng=rng),
            device,
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


def _other_device(name: str) -> Sized:
    return lambda wet, _, device, recipe, size: Pair(
        capture(wet, device), capture(10 ** (size / 20) * recorded(name, recipe, 8), "other")
    )


def _in_the_bypass(name: str) -> Sized:
    return lambda wet, dry, device, _, size: Pair(
        capture(wet, device), capture(put_in(name, dry, size), BYPASS)
    )


def _run_over(_: Array, dry: Array, device: str, recipe: str) -> Pair:
    """The setting was not recorded: its stage ran over the bypass's own recording."""
    made = through(device, dry[:, 0], rate_hz=RATE_HZ, rng=np.random.default_rng(9))
    return Pair(capture(made[:, None], device), capture(dry, BYPASS))


def _past_the_stage(wet: Array, dry: Array, level_db: float, *, treble: bool) -> Array:
    """What the stage is fed is heard as well: from a monitor mix 64 samples ahead, or through a capacity, at 20 kHz."""
    leak = dry[: len(wet)]
    leak = (
        np.gradient(leak, axis=0) * RATE_HZ / (2 * np.pi * 20_000) if treble else np.roll(leak, -64, axis=0)
    )
    return np.asarray(wet + 10 ** (level_db / 20) * leak)


def _over_old_take(wet: Array, dry: Array, level_db: float) -> Array:
    """A track that was not erased well: the bypass's take is heard below the setting's, 1.7 s later."""
    late, out = round(1.7 * RATE_HZ), wet.copy()
    out[late:] += 10 ** (level_db / 20) * dry[: len(wet) - late]
    return out


def _converted(dry: Array) -> Array:
    """Recorded at 44.1 kHz and converted to the setting's rate."""
    return np.asarray(signal.resample_poly(signal.resample_poly(dry, 147, 160), 160, 147))[: len(dry)]


def _late_relay(wet: Array, dry: Array, share: float) -> Array:
    """The setting's relay pulls in late: up to a share of the take it is the bypass."""
    at, count = int(share * len(wet)), 48
    fade = np.clip((np.arange(len(wet)) - at) / count, 0, 1)[:, None]
    return np.asarray(fade * wet + (1 - fade) * dry[: len(wet)])


MIX_UPS: dict[str, Callable[[Array, Array, str, str], Pair]] = {
    "channel-dead": lambda wet, dry, device, _: Pair(
        capture(np.hstack([wet, 1e-3 * _noise_like(wet)]), device), capture(dry, BYPASS), channel=2
    ),
    "dual-mono": lambda wet, dry, device, _: Pair(
        capture(np.hstack([wet, wet]), device), capture(dry, BYPASS), channel=2
    ),
    "mid-side": lambda wet, dry, device, _: Pair(
        capture(np.hstack([wet, dry]) @ np.array([[0.5, 0.5], [0.5, -0.5]]), device), capture(dry, BYPASS)
    ),
    "equals-stimulus": lambda _, dry, device, recipe: Pair(_stimulus_itself(recipe), capture(dry, BYPASS)),
    "equals-other-capture": lambda wet, _, device, __: Pair(capture(wet, device), capture(wet, "copy")),
    "swapped-roles": lambda wet, _, device, recipe: Pair(_stimulus_itself(recipe), capture(wet, device)),
    "rate-mislabelled": lambda wet, dry, device, _: Pair(capture(wet, device, 44_100), capture(dry, BYPASS)),
    "wrong-stimulus": _other_recipe,
    "older-stimulus": _older_recipe,
    "older bypass": lambda wet, dry, device, recipe: Pair(
        capture(wet, device), _older_recipe(wet, dry, BYPASS, recipe).wet
    ),
    "mislabelled bypass": lambda wet, dry, device, _: Pair(capture(wet, device), capture(dry, BYPASS, 44_100)),
    "two read as one": lambda wet, dry, device, _: Pair(
        capture(np.stack([wet, dry[: len(wet)]], axis=1).reshape(-1, 1), device), capture(dry, BYPASS)
    ),
    "wrong-take": lambda _, dry, device, recipe: Pair(
        capture(recorded(device, recipe, 4, take=7), device), capture(dry, BYPASS)
    ),
    "run over the bypass": _run_over,
    "converted bypass": lambda wet, dry, device, _: Pair(capture(wet, device), capture(_converted(dry), BYPASS)),
    "stimulus-not-found": lambda wet, dry, device, _: Pair(
        capture(_noise_like(wet), device), capture(dry, BYPASS)
    ),
}  # fmt: skip
SIZED_MIX_UPS: dict[str, tuple[str, tuple[float, ...], Sized]] = {
    "pan-law-of-bypass": (
        "dB", (-0.3, -3.01, -6.02),
        lambda wet, dry, device, _, size: Pair(
            capture(wet, device), capture(10 ** (size / 20) * dry, BYPASS)
        ),
    ),
    "setting-changed": (
        "dB", (0.5, 3.0, 10.0),
        lambda _, dry, device, recipe, size: Pair(
            capture(recorded(device, recipe, 2, moved_db=size), device), capture(dry, BYPASS)
        ),
    ),
    "setting-touched": (  # and turned back
        "dB", (0.5, 3.0, 10.0),
        lambda _, dry, device, recipe, size: Pair(
            capture(recorded(device, recipe, 2, moved_db=size, moved=(0.4, 0.5)), device), capture(dry, BYPASS)
        ),
    ),
    "preset-recalled": (  # from there on it is another stage
        "of the length", (0.2, 0.6, 0.9),
        lambda wet, dry, device, recipe, size: Pair(
            capture(_late_relay(recorded("feedforward-average-soft", recipe, 12), wet, size), device),
            capture(dry, BYPASS),
        ),
    ),
    "setting-in-the-bypass": (  # a relay that does not part them: what the stage makes is heard beside the bypass
        "dB", (-60, -40, -15),
        lambda wet, dry, device, _, size: Pair(
            capture(wet, device), capture(dry + 10 ** (size / 20) * wet[: len(dry)], BYPASS)
        ),
    ),
    "copied-bypass": (
        "dB", (0.0, -1.0, -6.0),
        lambda wet, _, device, __, size: Pair(
            capture(wet, device), capture(copied_bypass(wet, size, RATE_HZ), "copy")
        ),
    ),
    "late-relay": (
        "of the length", (0.05, 0.3, 0.6),
        lambda wet, dry, device, _, size: Pair(
            capture(_late_relay(wet, dry, size), device), capture(dry, BYPASS)
        ),
    ),
    "late-bypass": (
        "of the length", (0.05, 0.3, 0.6),
        lambda wet, dry, device, _, size: Pair(
            capture(wet, device), capture(_late_relay(dry, wet[: len(dry)], size), BYPASS)
        ),
    ),
    "monitor-mix": (
        "dB", (-70, -45, -20),
        lambda wet, dry, device, _, size: Pair(
            capture(_past_the_stage(wet, dry, size, treble=False), device), capture(dry, BYPASS)
        ),
    ),
    "treble-past": (
        "dB", (-70, -45, -20),
        lambda wet, dry, device, _, size: Pair(
            capture(_past_the_stage(wet, dry, size, treble=True), device), capture(dry, BYPASS)
        ),
    ),
    "over-old-take": (
        "dB", (-80, -60, -40),
        lambda wet, dry, device, _, size: Pair(
            capture(_over_old_take(wet, dry, size), device), capture(dry, BYPASS)
        ),
    ),
    "fader-on-setting": (
        "dB", (-0.5, -3, -12),
        lambda wet, dry, device, _, size: Pair(capture(10 ** (size / 20) * wet, device), capture(dry, BYPASS)),
    ),
    "bypass-of-another": ("dB", (0.0, -3.0, -12.0), _other_device("feedforward-average-soft")),
    "bypass-coloured": ("dB", (0.0, -3.0, -12.0), _other_device("exact-colour")),
    "bypass-of-another-day": ("dB", (-0.1, -1.0, -6.0), _other_day),
    **{
        f"{name} in the bypass": (unit_of(name), sizes_of(name), _in_the_bypass(name))
        for name in IN_THE_BYPASS
    },
}  # fmt: skip
