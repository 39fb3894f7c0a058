"""Clean captures of any stage through any rig: what is told of them is a false alarm."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import signal

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.characterise import characterise_judged
from charprobe.measuring.health.judge import judge_capture
from charprobe.simulation.devices.catalogue import make_stage, stage_names
from charprobe.simulation.rig.rig import Rig, quantise
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render
from tests.benchmarks.fault_captures import BYPASS
from tests.benchmarks.fault_trials import OF_THE_STAGE
from tests.benchmarks.zoo.catalogue import stages

CLEAN_RATES_HZ = (44_100, 48_000, 96_000)


def try_clean(number: int) -> tuple[str, frozenset[str], frozenset[str]]:
    """Measure clean captures of any stage and its bypass through any rig: a label, their stops, their warnings.

    Warnings of chapters count, too, but for those that speak of the stage.
    Every other stage is one of other make, with parameters of its own.
    """
    rng = np.random.default_rng(1000 + number)
    held_out = stages(number if number % 4 == 3 else None)
    names = list(held_out) if number % 2 else stage_names()
    device = names[number // 2 % len(names)]
    rate_hz = int(rng.choice(CLEAN_RATES_HZ))
    stimulus = lay_out(load_recipe("standard" if number % 20 == 0 else "quick"), rate_hz=rate_hz, take=1)
    played = render(stimulus)
    made = (
        held_out[device].process(played, rate_hz).sound
        if number % 2
        else make_stage(device).process(played, rate_hz=rate_hz, rng=rng).samples
    )
    outs = [made, played]
    peak_db = max(0.0, *(20 * np.log10(np.abs(out).max()) for out in outs))
    word = ("16 dithered", "24", "32", "float")[int(rng.integers(4))]
    rig = Rig(
        gain_db=float(rng.uniform(-12, -0.1)) - peak_db,
        delay_samples=float(rng.uniform(0, 4000)),
        noise_dbfs=float(rng.uniform(-115, -85)),
        drift_ppm=float(rng.uniform(-60, 60)),
        ac_corner_hz=float(rng.uniform(1, 20)),
        hum_dbfs=float(rng.uniform(-140, -110)),
        inverted=bool(rng.random() < 0.2),
        lead_s=float(rng.uniform(0, 1.5)),
        tail_s=float(rng.uniform(0, 1.5)),
    )
    judged = []
    for name, out in zip((device, BYPASS), outs, strict=True):
        samples = _converter(rig.record(out, rate_hz=rate_hz, rng=rng), rng)
        samples = {
            "16 dithered": lambda x: quantise(x, bits=16, dither=True, rng=rng),
            "24": lambda x: quantise(x, bits=24, dither=False, rng=rng),
            "32": lambda x: quantise(x, bits=32, dither=False, rng=rng),
            "float": lambda x: x.astype(np.float32).astype(float),
        }[word](samples)
        judged.append(judge_capture(MemoryCapture(samples, rate_hz=rate_hz, name=f"{name}.wav"), stimulus, 0))
    found = characterise_judged(*judged, setting=device).health
    by_severity = [frozenset(item.code for item in found if item.severity == s) for s in ("stop", "warn")]
    by_severity[1] -= OF_THE_STAGE
    if word == "16 dithered":  # that only 16 bits carry data is so
        by_severity[1] -= {"few-bits"}
    label = f"{number} {device}, {rate_hz} Hz, {word}, noise {rig.noise_dbfs:.0f}, hum {rig.hum_dbfs:.0f}"
    return label, by_severity[0], by_severity[1]


def _converter(samples: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The filter of a converter: linear in phase or of least phase, which passes 0.4535 to 0.475 of the rate."""
    top = float(rng.uniform(0.4535, 0.475))
    if rng.random() < 0.5:
        taps = signal.firwin(257, (top + 0.5) / 2, window=("kaiser", 8.0), fs=1.0)
        return signal.fftconvolve(samples, taps[:, None], axes=0)
    return signal.sosfilt(signal.ellip(7, 0.05, 80, top, fs=1.0, output="sos"), samples, axis=0)


def clean_text(clean: Sequence[tuple[str, frozenset[str], frozenset[str]]]) -> str:
    stops = [f"{label}: {', '.join(sorted(codes))}" for label, codes, _ in clean if codes]
    warns = [f"{label}: {', '.join(sorted(codes))}" for label, _, codes in clean if codes]
    return (
        f"{len(clean)} clean captures with their bypass, of every stage and of those of other make, at {', '.join(map(str, CLEAN_RATES_HZ))} Hz, noise "
        "-115 to -85 dBFS, hum -140 to -110 dBFS, clocks ±60 ppm, coupling 1 to 20 Hz, converter filters, 16 bits with "
        f"dither, 24, 32 and float: {len(stops)} stopped ({'; '.join(stops) or 'none'}), {len(warns)} warned of "
        f"({'; '.join(warns) or 'none'})."
    )
