"""A foreign effect in the live loop, measured, beside the same effect measured from files.

``python -m tests.benchmarks.live_foreign_bench [--write]``: a sitting with `charprobe record` on a sound server without
hardware, the plug-in as the device, and the same recipe through the same plug-in run on files by another host. ``--write``
puts the table into ``docs/accuracy/live.md``.
"""

import argparse
import sys
import tempfile
from pathlib import Path

import numpy as np

from charprobe.files.sound.sound_file import open_capture, write_wav
from charprobe.measuring.measure import measure
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.quantity import Quantity
from charprobe.values.wording import readable
from tests.bench.jack_rig import RATE_HZ, jack_rig
from tests.bench.person import Person
from tests.benchmarks.written import write_section
from tests.processors import runner

LIBRARY, LABEL, CONTROLS = "sc4m_1916", "sc4m", (0, 20, 200, -20, 4, 3, 2)
NOISE = 1e-5  # rms, as the rig adds it
NAMES = (
    "static.threshold", "static.slope", "static.makeup_gain", "static.knee_width", "attack.t50", "attack.t63", "attack.t90",
    "release.t50", "release.t63", "release.t90", "colour.thd_at_reference", "response.tilt", "path.latency",
)  # fmt: skip
SESSION = """schema = "charprobe.session/1"
recipe = "quick"
bypass = "path/bypass.wav"
[device]
name = "Plug-in"
[[setting]]
name = "on"
captures = ["on.wav"]
take = 1
"""


def live(folder):
    """Record bypass and effect at a pseudo-terminal; return the profile."""
    (folder / "review").mkdir()
    (folder / "review" / "session.toml").write_text(SESSION)
    command = [
        sys.executable,
        "-m",
        "charprobe",
        "record",
        "review/session.toml",
        "--play",
        "strip",
        "--outputs",
        "1",
    ]
    command += ["--inputs", "1", "--no-probe", "--no-second", "--no-publish"]
    with jack_rig(folder, speed=2, name="foreign") as rig:
        person = Person(command, cwd=folder, env=rig.env)
        person.hears("Type yes.*: ")
        person.types("yes")
        while (name := person.hears(r"\d+ of \d+  (\S+) (\d)", within_s=300))[1] != "on" or name[2] == "1":
            rig.turn(plugin=[LIBRARY, LABEL, CONTROLS] if name[1] == "on" else None)
            person.hears(r"Enter = play.*q stop\] ")
            person.types()
            person.hears(r"Enter = keep.*q stop\] ", within_s=300)
            person.types()
        person.hears(r"Enter = play.*q stop\] ")
        person.types("q")
        person.ends()
    bypass, capture = (folder / "review" / place for place in ("path/bypass.wav", "on.wav"))
    return measure(open_capture(capture), stimulus_of(1), bypass=open_capture(bypass), setting="live")


def stimulus_of(take):
    return lay_out(load_recipe("quick"), rate_hz=RATE_HZ, take=take)


def from_files(folder):
    """Process the rendered stimulus with another host, and measure."""
    rng = np.random.default_rng(3)
    played = render(stimulus_of(1))
    write_wav(folder / "played.wav", played[:, None], rate_hz=RATE_HZ, subtype="float32", force=True)
    numbered = dict(enumerate(CONTROLS))
    runner.ladspa(folder / "played.wav", folder / "wet.wav", library=LIBRARY, plugin=LABEL, controls=numbered)
    for name in ("played", "wet"):
        came = open_capture(folder / f"{name}.wav").read_frames(0, 10**9)
        came = np.concatenate([np.zeros((4800, 1)), came, np.zeros((9600, 1))])
        came = came + NOISE * rng.standard_normal(came.shape)
        write_wav(folder / f"{name} noisy.wav", came, rate_hz=RATE_HZ, subtype="float32", force=True)
    capture, bypass = (open_capture(folder / f"{name} noisy.wav") for name in ("wet", "played"))
    return measure(capture, stimulus_of(1), bypass=bypass, setting="files")


def rows_of(live_profile, file_profile):
    """A row a quantity: both readings, and how far apart they are in the joint half interval."""
    for name in NAMES:
        pair = [profile.quantities[name].reading for profile in (live_profile, file_profile)]
        texts = [readable(one).text if isinstance(one, Quantity) else f"– ({one.reason})" for one in pair]
        apart = "–"
        if all(isinstance(one, Quantity) for one in pair):
            joint = np.hypot(*((one.high - one.low) / 2 for one in pair))
            apart = (
                f"{abs(pair[0].value - pair[1].value) / joint:.2f}"
                if joint
                else f"{pair[0].value - pair[1].value:g}"
            )
        yield f"| `{name}` | {texts[0]} | {texts[1]} | {apart} |"


def table():
    """Both ways measured, as text."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        found = list(rows_of(live(folder), from_files(folder)))
    head = ["| quantity | live | from files | apart, in joint half intervals |", "|---|---|---|---|"]
    return "\n".join([*head, *found])


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    text = table()
    print(text)
    if asked.write:
        words = f"`{LABEL}` of swh-plugins in the loop, recorded by `charprobe record`, and on files by another host; recipe `quick`."
        command = "python -m tests.benchmarks.live_foreign_bench --write"
        write_section("live", "A foreign effect in the loop", command, f"{words}\n\n{text}")
