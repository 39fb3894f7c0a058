"""Effect processors that are not ours, each at two settings, from the Debian packages of DEVELOPERS.md."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile

from tests.benchmarks.zoo.stage import Array, Output, Stage
from tests.processors import runner

Run = Callable[[Path, Path], Path]


def filtered(text: str) -> Run:
    """Filters of ffmpeg, as it writes them."""
    return lambda source, target: runner.ffmpeg(source, target, text)


def _effect(*words: str) -> Run:
    return lambda source, target: runner.sox(source, target, *words)


def _plugin(library: str, plugin: str, *controls: float) -> Run:
    numbered = dict(enumerate(controls))
    return lambda source, target: runner.ladspa(
        source, target, library=library, plugin=plugin, controls=numbered
    )


def _compressor(
    threshold: float, ratio: float, attack: float, release: float, knee: float, detection: str
) -> Run:
    return filtered(
        f"acompressor=threshold={threshold}:ratio={ratio}:attack={attack}:release={release}:knee={knee}"
        f":detection={detection}"
    )


AHEAD_S = {
    "ffmpeg-alimiter-1": 0.006,
    "ffmpeg-alimiter-2": 0.003,
}  # their attack looks ahead, without latency

BANDS_1 = (  # in three bands, what is quiet is expanded
    "mcompand=args=0.005\\,0.1 6 -65/-80\\,-45/-45\\,-20/-20\\,0/-12 250 | "
    "0.003\\,0.08 6 -65/-80\\,-45/-45\\,-20/-20\\,0/-14 2500 | "
    "0.001\\,0.05 6 -65/-80\\,-45/-45\\,-24/-24\\,0/-14 20000"
)
BANDS_2 = "mcompand=args=0.01\\,0.2 3 -50/-50\\,-25/-25\\,0/-10 400 | 0.005\\,0.12 3 -50/-50\\,-30/-30\\,0/-14 20000"

RUNS: dict[str, tuple[Run, float, float]] = {  # name: how to run it, its latency in s, when it is calm, in s
    "ffmpeg-acompressor-1": (_compressor(0.08, 4, 20, 250, 2.8, "rms"), 0, 4),
    "ffmpeg-acompressor-2": (_compressor(0.12, 8, 5, 120, 1, "peak"), 0, 4),
    "ffmpeg-alimiter-1": (filtered("alimiter=limit=0.2:attack=5:release=50:level=0:latency=1"), 0, 3),
    "ffmpeg-alimiter-2": (filtered("alimiter=limit=0.4:attack=2:release=120:level=0:latency=1"), 0, 3),
    "ffmpeg-compand-1": (
        filtered("compand=attacks=0.01:decays=0.15:points=-90/-90|-24/-24|0/-16:soft-knee=6"),
        0,
        3,
    ),
    "ffmpeg-compand-2": (
        filtered(
            "compand=attacks=0.003:decays=0.4:points=-90/-90|-50/-50|-30/-30|0/-20:soft-knee=0.01:gain=2"
        ),
        0,
        5,
    ),
    "ffmpeg-agate-1": (filtered("agate=range=0.2:threshold=0.01:ratio=3:attack=5:release=100:knee=2"), 0, 3),
    "ffmpeg-agate-2": (
        filtered("agate=range=0.5:threshold=0.004:ratio=2:attack=10:release=200:knee=1"),
        0,
        3,
    ),
    "ffmpeg-asoftclip-1": (filtered("asoftclip=type=tanh:threshold=0.6"), 0, 0.2),
    "ffmpeg-asoftclip-2": (filtered("asoftclip=type=quintic"), 0, 0.2),
    "ffmpeg-shelf-1": (filtered("treble=g=1.7:f=3000:width_type=q:w=0.5"), 0, 0.3),
    "ffmpeg-shelf-2": (filtered("bass=g=-2.2:f=150:width_type=q:w=0.6"), 0, 0.5),
    "sox-compand-1": (_effect("compand", "0.01,0.12", "6:-90,-90,-24,-24,0,-17"), 0, 3),
    "sox-compand-2": (_effect("compand", "0.002,0.3", "-90,-90,-30,-30,-12,-20,0,-16"), 0, 4),
    "sox-overdrive-1": (_effect("overdrive", "6", "10"), 0, 1),
    "sox-overdrive-2": (_effect("overdrive", "2", "30"), 0, 1),
    "cmt-compress-rms-1": (_plugin("cmt", "compress_rms", 0.1, 0.25, 0.05, 0.6), 0, 4),
    "cmt-compress-rms-2": (_plugin("cmt", "compress_rms", 0.05, 0.5, 0.2, 1.5), 0, 6),
    "cmt-compress-peak-1": (_plugin("cmt", "compress_peak", 0.1, 0.25, 0.03, 0.5), 0, 4),
    "cmt-compress-peak-2": (_plugin("cmt", "compress_peak", 0.2, 0.1, 0.1, 1.0), 0, 5),
    "swh-sc4m-1": (_plugin("sc4m_1916", "sc4m", 0, 20, 200, -20, 4, 3, 2), 0, 4),
    "swh-sc4m-2": (_plugin("sc4m_1916", "sc4m", 1, 5, 120, -24, 8, 6, 0), 0, 4),
    "swh-dyson-1": (_plugin("dyson_compress_1403", "dysonCompress", -6, 0.2, 0.5, 0.5), 0, 10),
    "swh-dyson-2": (_plugin("dyson_compress_1403", "dysonCompress", 0, 0.1, 0.3, 0.8), 0, 10),
    "swh-valve-1": (_plugin("valve_1209", "valve", 0.4, 0.3), 0, 1),
    "swh-valve-2": (_plugin("valve_1209", "valve", 0.1, 0.8), 0, 1),
    "swh-overdrive-1": (_plugin("foverdrive_1196", "foverdrive", 1.3), 0, 0.5),
    "swh-overdrive-2": (_plugin("foverdrive_1196", "foverdrive", 2.5), 0, 0.5),
    "tap-tubewarmth-1": (_plugin("tap_tubewarmth", "tap_tubewarmth", 3.0, 6.0), 0, 1),
    "tap-tubewarmth-2": (_plugin("tap_tubewarmth", "tap_tubewarmth", 6.0, -4.0), 0, 1),
    "tap-dynamics-1": (_plugin("tap_dynamics_m", "tap_dynamics_m", 20, 200, 0, 0, 4), 0, 4),
    "tap-dynamics-2": (_plugin("tap_dynamics_m", "tap_dynamics_m", 8, 500, 0, -8, 8), 0, 6),
    "ffmpeg-mcompand-1": (filtered(BANDS_1), 0, 5),
    "ffmpeg-mcompand-2": (filtered(BANDS_2), 0, 5),
    "tap-limiter-1": (_plugin("tap_limiter", "tap_limiter", -12.0, 3.0), 0, 3),
    "tap-limiter-2": (_plugin("tap_limiter", "tap_limiter", -6.0, 0.0), 0, 3),
    "tap-sigmoid-1": (_plugin("tap_sigmoid", "tap_sigmoid", 3.0, -8.0), 0, 0.5),
    "tap-sigmoid-2": (_plugin("tap_sigmoid", "tap_sigmoid", -6.0, -2.0), 0, 0.5),
}


def foreign_stage(
    name: str,
    run: Run,
    late_s: float,
    calm_s: float,
    ahead_s: float | None,
    *,
    turns_phase: bool = False,
    remembers_s: float = 0.0,
) -> Stage:
    """A processor that only takes and gives files."""

    def process(sound: Array, rate_hz: int) -> Output:
        with tempfile.TemporaryDirectory() as folder:
            source, target = Path(folder, "in.wav"), Path(folder, "out.wav")
            soundfile.write(source, sound, rate_hz, subtype="FLOAT")
            out, _ = soundfile.read(run(source, target), always_2d=True)
        line = out[: sound.size, 0]
        return Output(np.pad(line, (0, sound.size - line.size)), None)

    return Stage(
        name,
        "foreign processor",
        process,
        late_s,
        calm_s,
        calm_s,
        remembers_s,
        joined=True,
        ahead_s=ahead_s,
        turns_phase=turns_phase,
    )


FOREIGN = tuple(foreign_stage(name, *row, AHEAD_S.get(name)) for name, row in RUNS.items())
