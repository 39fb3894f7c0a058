"""Foreign effect processors measured like any device: what they state is what comes out.

Truth comes from their stated parameters in closed form, and from long steady tones read by plain RMS.
The detector of each averages over many periods here (attack = release), so its reading of a sine is exact: the mean
square A²/2 or the mean absolute value 2A/pi. A threshold stated on that reading lies 3.01 or 3.92 dB higher on the
sine axis.
"""

import math
from dataclasses import dataclass

import numpy as np
import pytest
import soundfile

from charprobe.files.sound.sound_file import open_capture
from charprobe.measuring.measure import measure
from charprobe.stimulus.cue_sheet import load_stimulus
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.write import write_stimulus
from charprobe.values.quantity import Quantity
from tests.processors import runner

pytestmark = pytest.mark.processors
RATE = 48_000
RECIPE = Recipe(
    "processors",
    "steps 1.5 dB apart, and one burst",
    (
        LevelSteps("steps", 997.0, -50.0, -2.0, 1.5, 0.4, False, gap_s=1.0),
        Bursts("times", 3989.0, 5, -40.0, -4.0, 0.2, 0.3, 0.6, True),
    ),
)
MEAN_SQUARE_DB = 20 * math.log10(math.sqrt(2))
MEAN_ABSOLUTE_DB = 20 * math.log10(math.pi / 2)


@dataclass(frozen=True)
class Processor:
    """One external processor: how to run it, and what it states."""

    name: str
    run: object
    threshold_dbfs: float
    slope: float
    makeup_db: float
    tau_s: float  # of the one-pole on the reading
    power: bool  # the one-pole works on x², else on |x|


PROCESSORS = [
    Processor(
        "ffmpeg acompressor",
        lambda a, b: runner.ffmpeg(
            a, b, "acompressor=threshold=0.1:ratio=4:attack=80:release=80:knee=1:makeup=2:detection=rms"
        ),
        threshold_dbfs=-20 + MEAN_SQUARE_DB,
        slope=0.25,
        makeup_db=20 * math.log10(2),
        tau_s=0.080 / 4,
        power=True,
    ),
    Processor(
        "sox compand",
        lambda a, b: runner.sox(a, b, "compand", "0.02,0.02", "-90,-90,-20,-20,0,-15", "3"),
        threshold_dbfs=-20 + MEAN_ABSOLUTE_DB,
        slope=0.25,
        makeup_db=3.0,
        tau_s=0.02,
        power=False,
    ),
    Processor(
        "cmt compress_rms",
        lambda a, b: runner.ladspa(
            a, b, library="cmt", plugin="compress_rms", controls={0: 0.1, 1: 0.25, 2: 0.1, 3: 0.1}
        ),
        threshold_dbfs=-20 + MEAN_SQUARE_DB,
        slope=0.25,
        makeup_db=0.0,
        tau_s=0.1 / math.log(1000),
        power=True,
    ),
]


@pytest.fixture(scope="module")
def stimulus(tmp_path_factory):
    folder = tmp_path_factory.mktemp("processors")
    return write_stimulus(RECIPE, folder / "s.wav", rate_hz=RATE, take=1, subtype="pcm24", force=False)


@pytest.fixture(scope="module", params=PROCESSORS, ids=lambda p: p.name)
def measured(request, stimulus):
    processor = request.param
    target = stimulus.wav.with_name(f"{processor.name}.wav")
    processor.run(stimulus.wav, target)
    profile = measure(
        open_capture(target),
        load_stimulus(stimulus.cues),
        bypass=open_capture(stimulus.wav),
        setting=processor.name,
    )
    return processor, profile


def value(profile, name):
    reading = profile.quantities[name].reading
    assert isinstance(reading, Quantity), f"{name}: {reading}"
    return reading.value


def test_the_stated_static_curve_is_recovered(measured):
    processor, profile = measured
    # ripple of the averaged reading at 2 x 997 Hz moves its mean level by less than 0.005 dB for these tau
    assert value(profile, "static.threshold") == pytest.approx(processor.threshold_dbfs, abs=0.01)
    assert value(profile, "static.slope") == pytest.approx(processor.slope, abs=0.003)
    assert value(profile, "static.makeup_gain") == pytest.approx(processor.makeup_db, abs=0.001)


def test_settled_points_equal_long_tones_read_by_plain_rms(measured, tmp_path):
    processor, profile = measured
    levels = np.array([-30.0, -18.0, -12.0, -6.0, -3.0])
    n = np.arange(2 * RATE)
    tones = np.concatenate([10 ** (level / 20) * np.cos(2 * np.pi * 1000 / RATE * n) for level in levels])
    soundfile.write(tmp_path / "tones.wav", tones, RATE, subtype="FLOAT")
    processor.run(tmp_path / "tones.wav", tmp_path / "out.wav")
    out = soundfile.read(tmp_path / "out.wav")[0].reshape(levels.size, -1)[
        :, RATE:
    ]  # the settled second half
    gains = 20 * np.log10(np.sqrt(2 * np.mean(out**2, axis=1))) - levels
    table = profile.curves["static"].columns
    kept = [i for i, used in enumerate(table["used"]) if used]
    points = sorted((table["input_dbfs"][i], table["gain_db"][i]) for i in kept)
    # between steps 1.5 dB apart the straight parts interpolate exactly; 0.01 dB is the goal for settled points
    found = np.interp(levels, *np.array(points).T)
    np.testing.assert_allclose(found, gains, atol=0.01)


def seconds_to(processor, from_dbfs, to_dbfs, share):
    """Closed form: when the gain of a one-pole detector has gone `share` of its way in dB."""
    exponent = 10 if processor.power else 20
    start, end = 10 ** (from_dbfs / exponent), 10 ** (to_dbfs / exponent)

    def gain(level_dbfs):
        return -(1 - processor.slope) * max(0.0, level_dbfs - processor.threshold_dbfs)

    goal = gain(from_dbfs) + share * (gain(to_dbfs) - gain(from_dbfs))
    level = processor.threshold_dbfs - goal / (1 - processor.slope)
    return -processor.tau_s * math.log((10 ** (level / exponent) - end) / (start - end))


@pytest.mark.parametrize(("name", "share"), [("t50", 0.5), ("t63", 1 - math.exp(-1)), ("t90", 0.9)])
def test_the_stated_times_are_recovered(measured, name, share):
    processor, profile = measured
    attack = seconds_to(processor, -40.0, -4.0, share)
    release = seconds_to(processor, -4.0, -40.0, share)
    # the goals: 2 % or one sample for an attack, 1 % for a release
    assert value(profile, f"attack.{name}") == pytest.approx(attack, rel=0.02, abs=1 / RATE)
    assert value(profile, f"release.{name}") == pytest.approx(release, rel=0.01)
