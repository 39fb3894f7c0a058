import numpy as np
import pytest
from held import as_source

from charprobe.listening.aligning.pair_checks import PairingError, check_level, check_rates, check_shapes

RATE_HZ = 48_000


def sound(seconds=1.0, channels=1, rate_hz=RATE_HZ, level=0.1):
    return as_source(np.full((round(seconds * rate_hz), channels), level), rate_hz)


@pytest.mark.parametrize(
    ("dry", "processed", "says"),
    [
        (sound(rate_hz=44_100), sound(), "44100 Hz, the processed one 48000 Hz"),
        (sound(channels=2), sound(), "2 channels, the processed one 1"),
        (sound(channels=2), sound(channels=3), "2 channels, the processed one 3"),
        (sound(), sound(seconds=0.49), r"lasts 0\.49 s; at least 0\.5 s"),
    ],
)
def test_files_that_do_not_fit_are_refused_with_what_they_are(dry, processed, says):
    with pytest.raises(PairingError, match=says):
        check_shapes(dry, processed)


def test_a_mono_file_fits_any_number_of_channels_and_half_a_second_is_enough():
    check_shapes(sound(), sound(channels=6))
    check_shapes(sound(seconds=0.5), sound(seconds=100))
    check_rates(sound(rate_hz=96_000), sound(rate_hz=96_000))


@pytest.mark.parametrize(
    ("level", "says"),
    [
        (0.0, "dry file is digital silence"),
        (1e-6, "never louder than −120 dBFS"),
        (np.nan, "no numbers"),
        (np.inf, "no numbers"),
    ],
)
def test_silence_and_what_is_no_number_are_refused(level, says):
    with pytest.raises(PairingError, match=says):
        check_level("dry", sound(level=level))
    check_level("dry", sound(level=1.1e-5))
