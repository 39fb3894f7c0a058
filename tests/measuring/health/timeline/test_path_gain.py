import numpy as np
import pytest
from judged_pairs import PATH_RATE_HZ, PATH_RECIPE, judged_pair, judged_path, named, recorded
from scipy.ndimage import maximum_filter1d

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.health.judge import judge_pair
from charprobe.measuring.health.timeline.path_gain import check_path_gain
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.stimulus.render import lay_out


def bent(samples):
    return samples - 4 * 10 ** (-60 / 20) * samples**3


def limited(samples):
    """Peaks held down to -6 dBFS, over 50 ms."""
    level = maximum_filter1d(np.abs(samples[:, 0]), 2400)
    return samples * np.minimum(1.0, 0.5 / np.maximum(level, 1e-9))[:, None]


def two_converters(samples):
    """Below 24 dB under the peak another converter is heard, 0.02 dB louder."""
    loud = maximum_filter1d(np.abs(samples[:, 0]), 480) > 10 ** (-24 / 20) * np.abs(samples).max()
    return samples * np.where(loud, 1.0, 10 ** (0.02 / 20))[:, None]


def test_a_gain_that_steps_with_level_by_a_fiftieth_of_a_db_is_told():
    stimulus = lay_out(PATH_RECIPE, rate_hz=PATH_RATE_HZ, take=1)
    samples = two_converters(recorded("plain-wire", 25.8))
    source = MemoryCapture(samples, rate_hz=PATH_RATE_HZ, name="off.wav")
    (told,) = check_path_gain(place_take(Track(source, 0, stimulus)))
    assert told.code == "automatic-gain" and "between tones of −29 and −26 dBFS" in told.message


def test_a_path_whose_even_harmonics_cost_no_level_is_told_with_their_size():
    def even(samples):
        return samples + 2 * 10 ** (-50 / 20) * samples**2  # A cos squared: A**2 / 2 at twice its pitch

    dry = judged_path(even(recorded("plain-wire", 25.8)), "plain-wire")
    wet = judged_path(even(recorded("plain-wire", 37.4)), "plain-wire")
    (told,) = [
        item
        for item in judge_pair(wet, dry)
        if "In the bypass" in item.message and item.code == "clipped-below-full-scale"
    ]
    peak = np.abs(recorded("plain-wire", 25.8)).max()  # tones of -2 dBFS peak there
    assert f"harmonic 2 at \N{MINUS SIGN}{50 - 20 * np.log10(peak):.0f} dBc" in told.message


@pytest.mark.parametrize(("fault", "code"), [(bent, "clipped-below-full-scale"), (limited, "automatic-gain")])
def test_a_path_that_heeds_level_is_told_from_its_bypass(fault, code):
    dry = judged_path(fault(recorded("plain-wire", 25.8)), "plain-wire")
    wet = judged_path(fault(recorded("smooth-gain-soft", 37.4)), "smooth-gain-soft")
    assert code in {item.code for item in judge_pair(wet, dry)}


def test_on_and_off_that_were_exchanged_look_exchanged():
    on, off = judged_pair("smooth-gain-soft", fault=None)
    (told,) = [item for item in judge_pair(off, on) if item.severity == "stop"]
    assert told.code == "swapped-roles" and "look exchanged" in told.message
    both = judged_pair("smooth-gain-soft", fault=named("automatic-gain"))
    assert "swapped-roles" not in {item.code for item in judge_pair(*both)}
