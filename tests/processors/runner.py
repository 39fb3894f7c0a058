"""Send sound through effect processors that are not ours, by their own command lines."""

import subprocess
from pathlib import Path

from tests.needs import need, need_programs

LADSPA = Path("/usr/lib/ladspa")
PACKAGES = "Debian packages: see DEVELOPERS.md"


def ffmpeg(source: Path, target: Path, effect: str) -> Path:
    """Process a WAV with one ffmpeg filter into float32."""
    need_programs("ffmpeg", why=PACKAGES)
    command = ["ffmpeg", "-nostdin", "-v", "error", "-y", "-i", source, "-af", effect]
    options = ["-c:a", "pcm_f32le", "-flags", "+bitexact", "-fflags", "+bitexact"]
    subprocess.run([*command, *options, target], check=True, timeout=120)
    return target


def sox(source: Path, target: Path, *effect: str) -> Path:
    """Process a WAV with one sox effect into float32, without dither."""
    need_programs("sox", why=PACKAGES)
    options = ["-e", "floating-point", "-b", "32"]
    subprocess.run(["sox", "-D", "-R", source, *options, target, *effect], check=True, timeout=120)
    return target


def ladspa(source: Path, target: Path, *, library: str, plugin: str, controls: dict[int, float]) -> Path:
    """Process a WAV with one LADSPA plug-in, hosted by ffmpeg."""
    if not (LADSPA / f"{library}.so").exists():
        need(library, why=PACKAGES)
    values = "|".join(f"c{number}={value}" for number, value in controls.items())
    return ffmpeg(source, target, f"ladspa=file={library}:plugin={plugin}:controls={values}")
