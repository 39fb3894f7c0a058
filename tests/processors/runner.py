"""Send sound through effect processors that are not ours, by their own command lines."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

LADSPA = Path("/usr/lib/ladspa")


def need(*parts):
    """Skip where an external part is missing; on the build machine fail instead."""
    missing = [part for part in parts if not (shutil.which(part) or (LADSPA / f"{part}.so").exists())]
    if missing and os.environ.get("CI"):
        pytest.fail(f"missing on the build machine: {', '.join(missing)}")
    if missing:
        pytest.skip(f"needs {', '.join(missing)} (Debian packages: see DEVELOPERS.md)")


def ffmpeg(source: Path, target: Path, effect: str) -> Path:
    """Process a WAV with one ffmpeg filter into float32."""
    need("ffmpeg")
    command = ["ffmpeg", "-nostdin", "-v", "error", "-y", "-i", source, "-af", effect]
    options = ["-c:a", "pcm_f32le", "-flags", "+bitexact", "-fflags", "+bitexact"]
    subprocess.run([*command, *options, target], check=True, timeout=120)
    return target


def sox(source: Path, target: Path, *effect: str) -> Path:
    """Process a WAV with one sox effect into float32, without dither."""
    need("sox")
    options = ["-e", "floating-point", "-b", "32"]
    subprocess.run(["sox", "-D", "-R", source, *options, target, *effect], check=True, timeout=120)
    return target


def ladspa(source: Path, target: Path, *, library: str, plugin: str, controls: dict[int, float]) -> Path:
    """Process a WAV with one LADSPA plug-in, hosted by ffmpeg."""
    need("ffmpeg", library)
    values = "|".join(f"c{number}={value}" for number, value in controls.items())
    return ffmpeg(source, target, f"ladspa=file={library}:plugin={plugin}:controls={values}")
