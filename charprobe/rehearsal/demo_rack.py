"""A simulated rack to practise sessions on: four channels, four settings, three takes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from charprobe.files import output
from charprobe.files.sound.sound_file import write_wav
from charprobe.files.unfinished import may_start_over
from charprobe.session.file import SCHEMA
from charprobe.session.side_by_side import workers
from charprobe.simulation.devices.chain import Wire
from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.simulation.devices.parts.gain_computer import Bend, slope_of
from charprobe.simulation.devices.stage import Stage
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render

RATE_HZ = 48_000
JOBS = 2
CHANNELS, TAKES = 4, 3
OFF_CHANNEL, OFF_DB = 3, 0.3  # the input whose make-up was trimmed differently
SPREAD_DB = 0.004  # by which the gain of an input differs between takes, one sigma
SESSION = """# The field rack: four inputs, four settings, three takes of each, under no particular names.
# The sound says which setting a capture is of: `charprobe session {name} --out published`.
schema = "{schema}"
title = "The field rack of the Lantern Street radio-drama crew"
recipe = "{recipe}"
pool = "captures"
bypass_take = 0
[device]
name = "Field rack, four inputs"
maker = "built by the crew"
notes = "Simulated. One of its inputs is not like the others: which, and in what?"
{settings}
[[claim]]
says = "different"
settings = ["whisper", "dialogue"]
of = "static curve"
[[claim]]
says = "same"
settings = ["whisper", "dialogue"]
of = "attack.t63"
"""


def _stage(name: str, bend: Bend, attack_s: float, release_s: float, makeup_db: float) -> Stage:
    said = "one setting of the rack"
    return Compressor(name, said, (bend,), attack_s=attack_s, release_s=release_s, makeup_db=makeup_db)


STAGES = (
    _stage("whisper", Bend(-30.0, slope_of(2.5), 8.0), 0.004, 0.06, 1.5),
    _stage("dialogue", Bend(-24.0, slope_of(4.0), 6.0), 0.004, 0.12, 0.5),
    _stage("doors", Bend(-18.0, slope_of(10.0), 0.0), 0.0006, 0.045, 1.0),
    _stage("beds", Bend(-30.0, slope_of(2.0), 10.0), 0.012, 0.08, 1.5),
)


@dataclass(frozen=True)
class RackTake:
    """One capture of the rack: file name, take number in the sound, the stage, and the seed of all noise.

    `off_db` is what `OFF_CHANNEL` has more make-up than the rest.
    """

    file: str
    take: int
    stage: Stage
    seed: int
    off_db: float


def rack_takes() -> tuple[RackTake, ...]:
    """Every capture of the rack: the bypass, then each setting three times in turn."""
    takes = [RackTake("rack 00.wav", 0, Wire("off", "all switches off"), 0, 0.0)]
    for round_ in range(TAKES):
        for number, stage in enumerate(STAGES, start=1):
            takes.append(RackTake(f"rack {len(takes):02d}.wav", number, stage, 100 * round_ + number, OFF_DB))
    return tuple(takes)


def make_rack(folder: Path, *, recipe: Recipe, force: bool, progress: Callable[[str], None]) -> Path:
    """Write the captures of the rack and its session file; return the session file's path.

    The recipe is a shipped one. Files that exist are replaced with `force`, those of a run that was killed
    always; `OutputError` otherwise. `progress` is called with what was written.
    """
    output.prepare_folder(folder)
    takes = rack_takes()
    bytes_each = lay_out(recipe, rate_hz=RATE_HZ, take=1).length * CHANNELS * 3
    output.check_space(folder, needed_bytes=len(takes) * bytes_each)
    with may_start_over(folder, force=force) as replaced:
        return _write_rack(folder, takes, recipe, replaced, progress)


def _write_rack(
    folder: Path,
    takes: tuple[RackTake, ...],
    recipe: Recipe,
    force: bool,
    progress: Callable[[str], None],
) -> Path:
    output.prepare_folder(folder / "captures")
    session = folder / "session.toml"
    output.check_writable(session, force=force)
    with workers(JOBS) as others:
        for name in others.map(partial(_capture, folder, recipe, force), takes):
            progress(name)
    rows = (f'[[setting]]\nname = "{one.name}"\ntake = {n}\n' for n, one in enumerate(STAGES, start=1))
    settings = "".join(rows)
    text = SESSION.format(name=session.name, schema=SCHEMA, recipe=recipe.name, settings=settings)
    output.write_text(session, text, force=force)
    return session


def _capture(folder: Path, recipe: Recipe, force: bool, take: RackTake) -> str:
    rng = np.random.default_rng(take.seed)
    sound = render(lay_out(recipe, rate_hz=RATE_HZ, take=take.take))
    heard = take.stage.process(sound, rate_hz=RATE_HZ, rng=rng).samples
    gains_db = rng.normal(0, SPREAD_DB, CHANNELS)
    gains_db[OFF_CHANNEL - 1] += take.off_db
    rig = Rig(
        delay_samples=211.3,
        drift_ppm=-4.2,
        noise_dbfs=-108.0,
        ac_corner_hz=2.0,
        bits=24,
        lead_s=0.4,
        tail_s=0.2,
    )
    samples = rig.record_channels(heard[:, None] * 10 ** (gains_db / 20), rate_hz=RATE_HZ, rng=rng)
    write_wav(folder / "captures" / take.file, samples, rate_hz=RATE_HZ, subtype="pcm24", force=force)
    return take.file
