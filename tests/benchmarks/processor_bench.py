"""What foreign effect processors state of their timing, what they do, and how well it is measured.

Run ``python -m tests.benchmarks.processor_bench`` from the repository's top; ``--write`` puts the table into
``docs/accuracy/processors.md``. Needs the Debian packages ffmpeg, sox, cmt and swh-plugins. Truth is the processor's own gain,
output over input sample by sample of the unrecorded file; the measured capture went through the rig.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.chapters.timing.chapter import timing_chapter
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.simulation.rig.rig import Rig
from charprobe.simulation.true_times import TrueTimes, over_periods, time_edge
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.quantity import Quantity
from tests.benchmarks.written import write_section
from tests.processors import runner

RATE_HZ = 48_000
LOW, HIGH, CARRIER_HZ, PHASES = -40.0, -4.0, 3989.0, 7
LEAD_S, HOLD_S, RELEASE_S = 0.2, 0.6, 1.5
ATTACK, RELEASE = 0.01, 0.1
NAMES = ("t63", "t90", "within_2db")
LEAST = 0.05  # share of the carrier's peak from which on output over input tells the gain
SETTLED = 0.1  # share of a stretch whose mean is its settled gain


@dataclass(frozen=True)
class Processor:
    """An effect set to an attack of 10 ms and a release of 100 ms, and what its label means by that."""

    name: str
    means: str
    run: Callable[[Path, Path], Path]


PROCESSORS = (
    Processor(
        "ffmpeg acompressor, peak",
        "four time constants of one pole on the absolute value",
        lambda a, b: runner.ffmpeg(
            a, b, "acompressor=threshold=0.1:ratio=4:attack=10:release=100:knee=1:detection=peak"
        ),
    ),
    Processor(
        "ffmpeg acompressor, rms",
        "four time constants of one pole on the square",
        lambda a, b: runner.ffmpeg(
            a, b, "acompressor=threshold=0.1:ratio=4:attack=10:release=100:knee=1:detection=rms"
        ),
    ),
    Processor(
        "sox compand",
        "one time constant of one pole on the absolute value",
        lambda a, b: runner.sox(a, b, "compand", "0.01,0.1", "-90,-90,-20,-20,0,-15"),
    ),
    Processor(
        "cmt compress_rms",
        "time for the square to fall by 60 dB",
        lambda a, b: runner.ladspa(
            a, b, library="cmt", plugin="compress_rms", controls={0: 0.1, 1: 0.25, 2: ATTACK, 3: RELEASE}
        ),
    ),
    Processor(
        "cmt compress_peak",
        "time for the absolute value to fall by 60 dB",
        lambda a, b: runner.ladspa(
            a, b, library="cmt", plugin="compress_peak", controls={0: 0.1, 1: 0.25, 2: ATTACK, 3: RELEASE}
        ),
    ),
    Processor(
        "swh sc4m, rms",
        "about one time constant, in steps of 1/256 s",
        lambda a, b: runner.ladspa(
            a,
            b,
            library="sc4m_1916",
            plugin="sc4m",
            controls={0: 0, 1: 1e3 * ATTACK, 2: 1e3 * RELEASE, 3: -20, 4: 4, 5: 1, 6: 0},
        ),
    ),
    Processor(
        "swh sc4m, peak",
        "about one time constant, in steps of 1/256 s",
        lambda a, b: runner.ladspa(
            a,
            b,
            library="sc4m_1916",
            plugin="sc4m",
            controls={0: 1, 1: 1e3 * ATTACK, 2: 1e3 * RELEASE, 3: -20, 4: 4, 5: 1, 6: 0},
        ),
    ),
)


def played() -> tuple[object, np.ndarray]:
    """The stimulus: one phase set of bursts, long enough for every processor to settle."""
    bursts = Bursts(
        name="reference", carrier_hz=CARRIER_HZ, phases=PHASES, low_dbfs=LOW, high_dbfs=HIGH, lead_s=LEAD_S,
        hold_s=HOLD_S, release_s=RELEASE_S, reference=True,
    )  # fmt: skip
    stimulus = lay_out(Recipe("processors", "bursts", (bursts,)), rate_hz=RATE_HZ, take=1)
    return stimulus, render(stimulus)


def own_times(stimulus, sound: np.ndarray, out: np.ndarray) -> tuple[TrueTimes, TrueTimes]:
    """Times of a processor's own gain: output over input, sample by sample, weighted with x² over all bursts."""
    groups: dict[int, list] = {}
    for tone in stimulus.segments[0].tones:
        groups.setdefault(tone.group, []).append(tone)
    total = weight = 0.0
    for tones in groups.values():
        low, _, last = tones
        x, y = sound[low.start : last.stop], out[low.start : last.stop]
        peak = np.concatenate([np.full(tone.length, 10 ** (tone.level_dbfs / 20)) for tone in tones])
        told = np.abs(x) > LEAST * peak
        ratio = np.where(told, y / np.where(told, x, 1.0), 0.0)
        total = total + np.where(told, x**2 * ratio, 0.0)
        weight = weight + np.where(told, x**2, 0.0)
    low, high, last = next(iter(groups.values()))
    used = np.flatnonzero(weight > 0)
    gain_db = 20 * np.log10(np.interp(np.arange(weight.size), used, total[used] / weight[used]))
    rise, fall = high.start - low.start, last.start - low.start
    stop = gain_db.size - round(0.01 * RATE_HZ)
    for edge, end in ((rise, fall), (fall, stop)):
        gain_db = over_periods(gain_db, edge=edge, stop=end, period=RATE_HZ / CARRIER_HZ)

    def settled(end: int, length: int) -> float:
        return float(np.mean(gain_db[end - round(SETTLED * length) : end - 20]))

    return (
        time_edge(gain_db[:fall], edge=rise, early=0, end_db=settled(fall, fall - rise), rate_hz=RATE_HZ),
        time_edge(gain_db[:stop], edge=fall, early=0, end_db=settled(stop, stop - fall), rate_hz=RATE_HZ),
    )


def measured(stimulus, sound: np.ndarray, out: np.ndarray, rng: np.random.Generator):
    """The timing chapter of the processor behind the rig, with its bypass."""
    rig = {
        "noise_dbfs": -110.0,
        "bits": 24,
        "ac_corner_hz": 3.0,
        "drift_ppm": 31.0,
        "lead_s": 0.2,
        "tail_s": 0.2,
    }
    takes = []
    for signal, delay in ((out, 217.4), (sound, 213.9)):
        capture = Rig(delay_samples=delay, **rig).record(signal, rate_hz=RATE_HZ, rng=rng)
        takes.append(place_take(Track(MemoryCapture(capture, rate_hz=RATE_HZ, name="capture"), 0, stimulus)))
    return timing_chapter(*takes, None)


def rows_of(processor: Processor, folder: Path, rng: np.random.Generator) -> list[str]:
    stimulus, sound = played()
    source, target = folder / "in.wav", folder / "out.wav"
    soundfile.write(source, sound, RATE_HZ, subtype="FLOAT")
    out = soundfile.read(processor.run(source, target))[0]
    out = np.pad(out, (0, max(0, sound.size - out.size)))[: sound.size]
    sound = soundfile.read(source)[0]
    chapter = measured(stimulus, sound, out, rng)
    lines = []
    for edge, true, stated in zip(
        ("attack", "release"), own_times(stimulus, sound, out), (ATTACK, RELEASE), strict=True
    ):
        cells = []
        for name in NAMES:
            reading, own = chapter.quantities[f"{edge}.{name}"].reading, getattr(true, f"{name}_s")
            if isinstance(reading, Quantity):
                inside = "" if reading.low <= own <= reading.high else " *"
                cells.append(f"{ms(reading.value)} ({100 * (reading.value / own - 1):+.2f} %{inside})")
            else:
                cells.append("–")
        lines.append(f"| {processor.name} | {edge} {ms(stated)} | {processor.means} | {' | '.join(cells)} |")
    return lines


def ms(seconds: float) -> str:
    return f"{1e3 * seconds:.4g} ms"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="put the table into docs/accuracy/processors.md")
    options = parser.parse_args()
    lines = [
        "| processor | label | what the label means | t63 | t90 | within 2 dB |",
        "|---|---|---|---|---|---|",
    ]
    with tempfile.TemporaryDirectory() as folder:
        for number, processor in enumerate(PROCESSORS):
            lines += rows_of(processor, Path(folder), np.random.default_rng(number))
    text = (
        "Every processor is set to an attack of 10 ms, a release of 100 ms, a threshold near -20 dBFS and 4:1, and gets bursts "
        f"from {LOW:g} to {HIGH:g} dBFS at {CARRIER_HZ:g} Hz: about 12 dB of reduction. In brackets: error against the processor's "
        "own gain, output over input sample by sample before any recording; a star marks an error outside the stated 95 % "
        "interval. The captures had noise of -110 dBFS, 24 bits, AC coupling at 3 Hz and a clock 31 ppm off. What the labels "
        "mean was read from the sources of the processors.\n\n" + "\n".join(lines)
    )
    print(text)
    if options.write:
        command = "python -m tests.benchmarks.processor_bench --write"
        write_section("processors", "Processors: what they state, what they do", command, text)


if __name__ == "__main__":
    main()
