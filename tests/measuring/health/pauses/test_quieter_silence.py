import numpy as np
import pytest
from judged_captures import RATE, clean_once, judged, placed

from charprobe.measuring.health.judge import judge_pair
from charprobe.measuring.health.pauses.quieter_silence import check_quieter_silence
from charprobe.simulation.rig.rig import quantise


def lowered(capture, *, by_db):
    """What lies in pauses of 0.3 s and longer turned down, as a gate without edges does."""
    loud = np.convolve(np.abs(capture[:, 0]) > 10 ** (-75 / 20), np.ones(round(0.3 * RATE)), "same") > 0
    return capture * np.where(loud, 1.0, 10 ** (-by_db / 20))[:, None]


@pytest.mark.parametrize("by_db", [1.0, 5.0])
def test_a_path_that_turns_silence_down_a_little_is_told_by_the_noise_beside_a_quiet_tone(by_db):
    off = judged(lowered(clean_once("plain-wire"), by_db=by_db))
    (told,) = check_quieter_silence(off[0])
    assert told.code == "idle-mute" and told.withholds == ("noise",)
    found_db = float(told.message.split("noise is ")[1].split(" dB")[0])
    assert abs(found_db - by_db) < 0.25  # rounded to 0.1; noise of both parts is known to 0.05 dB
    pair = judge_pair(judged(clean_once("odd-colour")), off)
    assert any(item.code == "idle-mute" and "In the bypass" in item.message for item in pair)


def test_noise_that_stays_is_not_told_and_neither_is_what_rounding_makes_beside_a_tone(rng):
    off = clean_once("plain-wire")
    rounded = quantise(off, bits=16, dither=False, rng=rng)
    for capture in (off, rounded, quantise(off, bits=16, dither=True, rng=rng)):
        assert check_quieter_silence(placed(capture)) == []
