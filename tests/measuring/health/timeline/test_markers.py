import numpy as np
import pytest
from judged_pairs import PATH_RATE_HZ, found_in
from taken import RATE_HZ, take_of

from charprobe.measuring.health.timeline.markers import check_marker_edges, check_marker_levels
from charprobe.simulation.rig import faults
from charprobe.stimulus.kinds.level_steps import LevelSteps


@pytest.mark.parametrize("gain_db", [-0.4, 0.4])
def test_a_step_after_the_last_tone_is_seen_in_the_markers_of_the_bypass(gain_db):
    def stepped(samples):
        return faults.step_gain(samples, at=samples.shape[0] - round(1.45 * PATH_RATE_HZ), gain_db=gain_db)

    told = [
        item.for_people().message
        for item in found_in("smooth-gain-soft", fault=stepped)
        if item.code == "level-drift"
    ]
    assert any("In the bypass" in text and "0.40 dB" in text for text in told)


STEPS = (LevelSteps("steps", 997.0, -50.0, -5.0, 5.0, 0.1, True, gap_s=0.1),)
LEVELS_DB = {  # what happens over the 3 s of the take, in dB; what the stage does, it does to loud tones
    "step down": lambda share: -0.8 * (share > 0.55),
    "step up": lambda share: 0.8 * (share > 0.3),
    "drift down": lambda share: -0.6 * share,
    "drift up": lambda share: 0.6 * share,
}


@pytest.mark.parametrize("how", LEVELS_DB)
def test_one_capture_alone_tells_a_path_that_moves(how, rng):
    def path(samples):
        return samples * 10 ** (LEVELS_DB[how](np.linspace(0, 1, samples.size)) / 20)

    (item,) = check_marker_levels(take_of(STEPS, path, rng=rng))
    assert item.code == "level-drift" and ("quieter" in item.message) == ("down" in how)


@pytest.mark.parametrize("sign", [-1, 1])
def test_a_stage_whose_gain_wanders_or_recovers_slowly_is_no_path_that_moves(sign, rng):
    def slow(samples):  # reduced by what was loud, recovering within seconds; or raised by it
        heard = np.abs(samples) > 0.05
        keep, gain_db, gains = np.exp(-1 / (1.5 * RATE_HZ)), 0.0, np.empty(samples.size)
        for n, loud in enumerate(heard.tolist()):
            gain_db = keep * gain_db + (1 - keep) * 6.0 * loud
            gains[n] = gain_db
        return samples * 10 ** (sign * gains / 20)

    assert check_marker_levels(take_of(STEPS, slow, rng=rng)) == []


def test_a_stage_that_lifts_what_is_loud_and_keeps_most_of_it_is_no_path_that_rose(rng):
    def lifting(samples):  # 8 dB up within the loud steps, half of it left for seconds
        heard = np.abs(samples) > 0.05
        keep, fast, slow, gains = np.exp(-1 / (0.05 * RATE_HZ)), 0.0, 0.0, np.empty(samples.size)
        for n, loud in enumerate(heard.tolist()):
            fast = keep * fast + (1 - keep) * 20.0 * loud
            slow = max(slow * 0.999998, 0.5 * fast)
            gains[n] = max(fast, slow)
        return samples * 10 ** (gains / 20)

    assert check_marker_levels(take_of(STEPS, lifting, rng=rng)) == []


def from_pauses(samples, gain_db, settles_s):
    """A gain that is so many dB off when sound begins after a pause, and settles while it lasts."""
    heard = np.maximum.accumulate(np.where(np.abs(samples) > 1e-3, np.arange(samples.size), -RATE_HZ))
    sounds = np.arange(samples.size) - heard < 0.02 * RATE_HZ
    begun = np.maximum.accumulate(
        np.where(sounds & ~np.concatenate([[False], sounds[:-1]]), np.arange(samples.size), 0)
    )
    return samples * 10 ** (gain_db * np.exp(-(np.arange(samples.size) - begun) / settles_s / RATE_HZ) / 20)


@pytest.mark.parametrize(("gain_db", "settles_s"), [(2.5, 0.03), (-4.0, 0.15), (-2.0, 0.3)])
def test_a_gain_that_settles_in_each_marker_is_no_fade(gain_db, settles_s, rng):
    take = take_of(STEPS, lambda samples: from_pauses(samples, gain_db, settles_s), rng=rng)
    assert check_marker_edges(take) == []


@pytest.mark.parametrize("end", [False, True])
def test_a_fade_over_an_edge_of_the_file_is_told(end, rng):
    def faded(samples):
        heard = np.flatnonzero(np.abs(samples) > 1e-3)
        from_edge = heard[-1] - np.arange(samples.size) if end else np.arange(samples.size) - heard[0]
        return samples * np.clip(0.3 + 0.7 * from_edge / (0.25 * RATE_HZ), 0.0, 1.0)

    (item,) = check_marker_edges(take_of(STEPS, faded, rng=rng))
    assert item.code == ("truncated" if end else "start-missing")
