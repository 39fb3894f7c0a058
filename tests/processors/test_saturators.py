"""Foreign saturators: harmonics and intermodulation against the plain FFT of coherent tones through the same effect.

Every frequency is a whole number of hertz, so one second holds whole periods of all and an FFT of it needs no window.
"""

import math

import numpy as np
import pytest
import soundfile

from charprobe.files.sound.sound_file import open_capture
from charprobe.measuring.measure import measure
from charprobe.stimulus.cue_sheet import load_stimulus
from charprobe.stimulus.kinds.steady import Silence, Tones
from charprobe.stimulus.kinds.two_tone import TwoTone
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.write import write_stimulus
from charprobe.values.quantity import Quantity
from tests.processors import runner

pytestmark = pytest.mark.processors
RATE = 48_000
LEVELS = (-30.0, -20.0, -10.0, -6.0)
FREQUENCIES = (110.0, 997.0, 5003.0)
RECIPE = Recipe(
    "saturators",
    "tones and pairs for saturators",
    (
        Silence("idle", 1.0),
        Tones("harmonics", FREQUENCIES, LEVELS, 0.4),
        TwoTone("low-and-high", 61.0, 7001.0, 4.0, (-10.0,), 0.5),
        TwoTone("close-pair", 9001.0, 10_007.0, 1.0, (-10.0,), 0.5),
    ),
)
CLEAR_DB = 12.0  # over the limit of detection
LEAST_DBC = -130.0  # the effects' own arithmetic of 24 bits rounds at about -150 dBc, the same in both
SATURATORS = {
    "ffmpeg asoftclip tanh": lambda a, b: runner.ffmpeg(a, b, "asoftclip=type=tanh"),
    "ffmpeg asoftclip cubic": lambda a, b: runner.ffmpeg(a, b, "asoftclip=type=cubic"),
    "tap_tubewarmth": lambda a, b: runner.ladspa(
        a, b, library="tap_tubewarmth", plugin="tap_tubewarmth", controls={0: 4.0, 1: 6.0}
    ),
    "swh valve": lambda a, b: runner.ladspa(
        a, b, library="valve_1209", plugin="valve", controls={0: 0.5, 1: 0.4}
    ),
}


@pytest.fixture(scope="module", params=SATURATORS, ids=str)
def measured(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("saturators")
    run = SATURATORS[request.param]
    stimulus = write_stimulus(RECIPE, folder / "s.wav", rate_hz=RATE, take=1, subtype="float32", force=False)
    run(stimulus.wav, folder / "wet.wav")
    profile = measure(
        open_capture(folder / "wet.wav"),
        load_stimulus(stimulus.cues),
        bypass=open_capture(stimulus.wav),
        setting=request.param,
    )

    def spectrum(*parts):
        """Complex amplitudes at 0, 1, 2, ... Hz of the settled second of (amplitude, frequency) cosines."""
        n = np.arange(2 * RATE)
        sound = sum(a * np.cos(2 * np.pi * f * n / RATE) for a, f in parts)
        soundfile.write(folder / "in.wav", sound, RATE, subtype="FLOAT")
        run(folder / "in.wav", folder / "out.wav")
        return np.fft.rfft(soundfile.read(folder / "out.wav")[0][RATE : 2 * RATE]) * 2 / RATE

    return profile, spectrum


@pytest.mark.parametrize("frequency", FREQUENCIES)
def test_harmonics_equal_those_of_a_coherent_fft(measured, frequency):
    profile, spectrum = measured
    table = profile.curves["harmonics"].columns
    compared = 0
    for level in LEVELS[1:]:
        lines = spectrum((10 ** (level / 20), frequency))
        fundamental = lines[int(frequency)]
        rows = zip(table["input_dbfs"], table["frequency_hz"], strict=True)
        row = next(i for i, (at, f) in enumerate(rows) if f == frequency and abs(at - level) < 0.1)
        for order in range(2, 11):
            if order * frequency > 20_000:
                break
            ratio = lines[order * int(frequency)] / abs(fundamental)
            ratio *= np.exp(-1j * order * np.angle(fundamental))
            true_dbc = 20 * math.log10(max(abs(ratio), 1e-12))
            if true_dbc < max(table["limit_dbc"][row] + CLEAR_DB, LEAST_DBC):
                continue
            # the goals, 0.1 dB and 1 degree; nearer to the noise what the stated limit, 4 sigma, comes to
            off = 10 ** ((table["limit_dbc"][row] - true_dbc) / 20)
            assert table[f"h{order}_dbc"][row] == pytest.approx(true_dbc, abs=max(0.1, 8.7 * off))
            turned = table[f"h{order}_deg"][row] - math.degrees(np.angle(ratio))
            assert abs((turned + 180) % 360 - 180) < max(1, math.degrees(off))
            compared += 1
    assert compared >= 3  # one order at each level: a cubic has no more


def test_intermodulation_equals_that_of_a_coherent_fft(measured):
    profile, spectrum = measured
    peak = 10 ** (-10 / 20)
    lines = np.abs(spectrum((0.8 * peak, 61), (0.2 * peak, 7001)))
    orders = [lines[7001 - 61 * n] + lines[7001 + 61 * n] for n in range(1, 5)]
    truth = {"colour.imd_smpte": math.sqrt(sum(d**2 for d in orders)) / lines[7001]}
    lines = np.abs(spectrum((peak / 2, 9001), (peak / 2, 10_007)))
    both = lines[9001] + lines[10_007]
    truth["colour.imd_difference"] = math.hypot(lines[1006], lines[7995] + lines[11_013]) / both
    for name, true in truth.items():
        reading = profile.quantities[name].reading
        assert isinstance(reading, Quantity), reading
        assert reading.value == pytest.approx(20 * math.log10(true), abs=0.1)  # the goal for harmonics
