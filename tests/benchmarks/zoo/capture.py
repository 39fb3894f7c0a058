"""A stimulus through a stage of the zoo and its recorder, as files.

``python -m tests.benchmarks.zoo.capture STAGE... --recipe quick --out DIR`` writes RECIPE.wav and .json (stimulus, cue
sheet), RECIPE.bypass.wav and for each STAGE RECIPE.STAGE.wav and its own truth, RECIPE.STAGE.truth.json. ``--list`` names
the stages, ``all`` means each of them.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path
from zlib import crc32

import soundfile

from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.timetable import Stimulus
from charprobe.stimulus.write import write_stimulus
from tests.benchmarks.zoo.catalogue import stages
from tests.benchmarks.zoo.rig import Recorder
from tests.benchmarks.zoo.stage import Array, Stage
from tests.benchmarks.zoo.truth import truth_of


@dataclass(frozen=True)
class Played:
    """A stimulus as it was written, and its samples."""

    stimulus: Stimulus
    wav: Path
    sound: Array


def play(recipe: str, folder: Path, *, rate_hz: int) -> Played:
    """Write a stimulus and read its samples back."""
    name = Path(recipe).stem
    written = write_stimulus(
        load_recipe(recipe), folder / f"{name}.wav", rate_hz=rate_hz, subtype="float32", force=True
    )
    sound = soundfile.read(written.wav, always_2d=True)[0][:, 0]
    return Played(written.stimulus, written.wav, sound)


def record(sound: Array, target: Path, *, recorder: Recorder, rate_hz: int) -> Path:
    """Record a sound into a 24-bit file; every file name has noise of its own."""
    taken = recorder.record(sound, rate_hz=rate_hz, seed=crc32(target.name.encode()))
    soundfile.write(target, taken, rate_hz, subtype="PCM_24")
    return target


def capture(stage: Stage, played: Played, *, recorder: Recorder) -> Path:
    """Record the stimulus through a stage, beside the stimulus."""
    rate_hz = played.stimulus.rate_hz
    target = played.wav.with_name(f"{played.wav.stem}.{stage.name}.wav")
    return record(stage.process(played.sound, rate_hz).sound, target, recorder=recorder, rate_hz=rate_hz)


def bypass(played: Played, name: str, *, recorder: Recorder) -> Path:
    """Record the stimulus with no stage in the way, beside it under a name."""
    target = played.wav.with_name(f"{played.wav.stem}.{name}.wav")
    return record(played.sound, target, recorder=recorder, rate_hz=played.stimulus.rate_hz)


def options(about: str) -> argparse.ArgumentParser:
    """What both commands of the zoo take."""
    parser = argparse.ArgumentParser(description=about, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--recipe", default="quick")
    parser.add_argument("--rate", type=int, default=48_000)
    parser.add_argument("--drift", type=float, default=12.0, help="clock of the recorder, ppm")
    parser.add_argument("--noise", type=float, default=-100.0, help="noise of the recorder, dBFS")
    parser.add_argument("--seed", type=int, help="draw the parameters of the stages around their usual ones")
    return parser


def main() -> None:
    parser = options(__doc__)
    parser.add_argument("stage", nargs="*")
    parser.add_argument("--list", action="store_true")
    parser.add_argument("--out", type=Path, default=Path("zoo"))
    chosen = parser.parse_args()
    found = stages(chosen.seed)
    if chosen.list:
        print("\n".join(f"{stage.name:24} {stage.about}" for stage in found.values()))
        return
    chosen.out.mkdir(parents=True, exist_ok=True)
    recorder = Recorder(drift_ppm=chosen.drift, noise_dbfs=chosen.noise, draw=chosen.seed or 0)
    played = play(chosen.recipe, chosen.out, rate_hz=chosen.rate)
    print(bypass(played, "bypass", recorder=recorder))
    for name in found if chosen.stage == ["all"] else chosen.stage:
        print(target := capture(found[name], played, recorder=recorder))
        truth = truth_of(found[name], played.stimulus)
        target.with_suffix(".truth.json").write_text(json.dumps(truth.to_dict(), indent=1))


if __name__ == "__main__":
    main()
