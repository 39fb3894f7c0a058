import numpy as np
from judged_captures import RATE, clean_once, placed
from scipy import signal

from charprobe.measuring.health.pauses.thinned_noise import check_suppressed_noise, check_thinned_noise
from charprobe.simulation.rig.helpful_faults import suppress_noise
from charprobe.stimulus.render import render


def thinned(samples):
    """Every bin of a short spectrum that is no louder than usual noise turned down."""
    _, _, found = signal.stft(samples[:, 0], nperseg=2048, noverlap=1536)
    usual = np.median(np.abs(found), axis=1, keepdims=True)
    _, left = signal.istft(
        np.where(np.abs(found) > 1.3 * usual, 1.0, 0.1) * found, nperseg=2048, noverlap=1536
    )
    return left[: samples.shape[0], None]


def test_scraps_of_noise_are_told_and_steady_noise_of_any_colour_or_swell_is_not(rng):
    capture = clean_once("feedforward-rms-hard")
    (told,) = check_thinned_noise(placed(thinned(capture)))
    assert told.code == "idle-mute" and told.withholds == ("noise",)
    swell = 10 ** (np.sin(np.arange(capture.shape[0]) / 20_000)[:, None] / 2)
    dull = signal.lfilter([0.05], [1, -0.95], rng.normal(0, 1e-4, capture.shape), axis=0)
    for steady in (capture, capture + swell * dull):
        assert check_thinned_noise(placed(steady)) == []


def test_a_path_that_turns_down_what_is_quiet_is_told_by_the_noise_under_tones():
    off = clean_once("plain-wire")
    (told,) = check_suppressed_noise(placed(suppress_noise(off, rate_hz=RATE)))
    assert told.code == "automatic-gain" and told.severity == "stop"
    assert check_suppressed_noise(placed(off)) == []


def test_pauses_without_any_noise_are_those_of_a_digital_path_unless_much_lies_under_tones(rng):
    played = render(placed(clean_once("plain-wire")).stimulus)[:, None]
    rounded = np.round(played * 2**15) / 2**15
    noisy = np.where(played == 0, 0.0, played + rng.normal(0, 1e-4, played.shape))
    assert check_suppressed_noise(placed(played)) == []
    assert check_suppressed_noise(placed(0.7 * rounded)) == []
    (told,) = check_suppressed_noise(placed(noisy))
    assert told.code == "automatic-gain"
