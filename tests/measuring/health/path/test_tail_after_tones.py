import numpy as np
from taken import RATE_HZ, take_of

from charprobe.measuring.health.path.second_path import check_second_path
from charprobe.measuring.health.path.tail_after_tones import tail_after_tones_db
from charprobe.simulation.rig.faults import second_path
from charprobe.simulation.rig.room_faults import diffuse_tail
from charprobe.stimulus.kinds.steady import Silence, Tones
from charprobe.stimulus.kinds.sweep import Sweep

SEGMENTS = (Tones("tones", (110.0,), (-40.0, -6.0), 0.4), Silence("after", 1.0))


def expanded(samples, tail_db=None):
    """Quiet sound, the markers among it, 30 dB lower; its loudest tone as it was."""
    loud = np.convolve(np.abs(samples), np.ones(960) / 960, "same") > 0.2
    out = samples * np.where(loud, 1.0, 10 ** (-30 / 20))
    return out if tail_db is None else diffuse_tail(out[:, None], level_db=tail_db, rate_hz=RATE_HZ)[:, 0]


def test_a_tail_that_quiet_markers_hide_is_told_after_a_loud_tone(rng):
    (told,) = check_second_path(take_of(SEGMENTS, lambda x: expanded(x, -50.0), rng=rng), coded=False)
    assert told.code == "diffuse-tail" and "a tone that ended" in told.message
    assert check_second_path(take_of(SEGMENTS, expanded, rng=rng), coded=False) == []


def test_hum_at_the_tones_frequency_is_no_tail(rng):
    def humming(samples):
        return samples + 1e-4 * np.sin(2 * np.pi * 110 * np.arange(samples.size) / RATE_HZ)

    assert tail_after_tones_db(take_of(SEGMENTS, humming, rng=rng)) is None


def test_a_copy_that_moving_markers_hide_is_told_by_the_sweep(rng):
    def uneven(samples, gain_db=None):
        gain = 1 + 0.3 * np.sign(
            np.sin(2 * np.pi * 160 * np.arange(samples.size) / RATE_HZ)
        )  # in the markers alone
        gain[RATE_HZ:-RATE_HZ] = 1.0
        out = (samples * gain)[:, None]
        return (out if gain_db is None else second_path(out, delay=197, gain_db=gain_db))[:, 0]

    sweep = (Sweep("sweep", 20.0, 20_000.0, 1.0, -20.0), Silence("after", 1.0))
    (told,) = check_second_path(take_of(sweep, lambda x: uneven(x, -45.0), rng=rng), coded=False)
    assert "4.1 ms behind the sound, 45 dB lower" in told.message
    assert check_second_path(take_of(sweep, uneven, rng=rng), coded=False) == []
