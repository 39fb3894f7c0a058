import numpy as np
from judged_pairs import found_in, named
from taken import RATE_HZ, take_of, wire

from charprobe.measuring.health.path.sound_under_tones import check_sound_under_tones, check_sound_with_tones
from charprobe.measuring.health.path.under_tones import under_tones
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.steady import Tones

BURSTS = (Bursts("reference", 4093.0, 5, -40.0, -5.0, 0.15, hold_s=0.15, release_s=0.2, gap_s=0.1),)


def test_a_sound_that_comes_and_goes_under_tones_is_no_click():
    found = found_in("odd-colour", fault=named("ring-tone"), on_both=False)
    told = {item.code: item for item in found if item.severity != "note"}
    assert set(told) == {"spur"}
    assert "sound that was not played" in told["spur"].message.lower()


def second_burst(samples):
    """From 0 to 1 within the time of the second burst of five, low parts and high one."""
    loud = np.flatnonzero(np.abs(samples) > 0.3)
    first, last = loud[0], loud[-1]
    each = (last - first) / 4.3
    inside = np.zeros(samples.size)
    inside[int(first + 0.6 * each) : int(first + 1.7 * each)] = 1.0
    return inside, loud


def motor(samples):
    time_s = np.arange(samples.size) / RATE_HZ
    return samples + 0.003 * second_burst(samples)[0] * np.sin(2 * np.pi * 150 * time_s)


def thump(samples):
    """A stage whose loud parts push its bias: hardest in the second burst, nothing in low parts."""
    inside, _ = second_burst(samples)
    time_s = np.arange(samples.size) / RATE_HZ
    loud = np.convolve(np.abs(samples) > 0.3, np.ones(96), "same") > 0
    return samples + 0.003 * inside * loud * np.sin(2 * np.pi * 150 * time_s)


def test_a_sound_under_a_burst_is_told_where_other_bursts_are_clean_and_a_thump_is_the_stage_s(rng):
    (item,) = check_sound_under_tones(take_of(BURSTS, motor, rng=rng), [])
    assert item.code == "spur" and "-5" in item.message.replace("−", "-")
    assert check_sound_under_tones(take_of(BURSTS, thump, rng=rng), []) == []


def bell(samples, *, fall_s):
    """A bell of 880 Hz under the end of the second of five bursts, from its last loud sample on."""
    loud = np.flatnonzero(np.abs(samples) > 0.3)
    ends = loud[np.flatnonzero(np.diff(loud, append=loud[-1] + RATE_HZ) > RATE_HZ / 2)]
    time_s = (np.arange(samples.size) - ends[1] - 480) / RATE_HZ
    rung = np.where(time_s > 0, np.exp(-np.maximum(time_s, 0) / fall_s), 0.0)
    return samples + 0.02 * rung * np.sin(2 * np.pi * 880 * time_s)


def test_a_sound_within_one_low_part_is_told_by_how_long_it_lasts(rng):
    bursts = (Bursts("reference", 4093.0, 5, -40.0, -5.0, 0.15, hold_s=0.15, release_s=1.3, gap_s=0.1),)
    (item,) = check_sound_under_tones(take_of(bursts, lambda x: bell(x, fall_s=0.2), rng=rng), [])
    assert item.code == "spur"
    assert check_sound_under_tones(take_of(bursts, lambda x: bell(x, fall_s=0.03), rng=rng), []) == []


def test_steps_of_the_gain_under_one_of_two_tones_are_the_stage_s_and_a_sound_is_not(rng):
    tones = tuple(Tones(name, (997.0,), (-20.0, -12.0), 0.4) for name in "ab")

    again = take_of(tones, wire, rng=rng).stimulus.segments[1].span.start

    def first_of_all(samples, beside):  # what a stage or a neighbour does until the tones come again
        return np.where(np.arange(samples.size) < again, beside(samples), samples)

    def steps(samples):  # 0.3 dB up and down, at random crossings of zero
        at = np.flatnonzero(np.diff(np.signbit(samples)))
        chosen = at[rng.random(at.size) < 0.1]
        state = np.cumsum(np.isin(np.arange(samples.size), chosen)) % 2
        return samples * 10 ** (-0.3 * state / 20)

    def hums(samples):
        return samples + 0.001 * np.sin(2 * np.pi * 733 * np.arange(samples.size) / RATE_HZ)

    for beside, told in ((steps, []), (hums, ["spur"])):
        take = take_of(tones, lambda x, by=beside: first_of_all(x, by), rng=rng)
        assert [item.code for item in check_sound_under_tones(take, under_tones(take))] == told


LEVELS = Tones("levels", (997.0,), (-50.0, -40.0, -30.0, -14.0, -8.0), 0.3)


def test_one_tone_drowned_in_another_file_is_told(rng):
    first = take_of((LEVELS,), wire, rng=rng).stimulus.segments[0].tones[1]

    def overwritten(samples):
        out, at = (
            samples.copy(),
            slice(first.start + first.length // 2, first.start + first.length // 2 + 1400),
        )
        out[at] = rng.uniform(0.3, 0.95, 1400)
        return out

    for device, told in ((wire, []), (overwritten, ["spur"])):
        take = take_of((LEVELS,), device, rng=rng)
        assert [item.code for item in check_sound_under_tones(take, under_tones(take))] == told


def test_what_sounds_with_loud_tones_alone_is_told_of_a_bypass(rng):
    def buzzes(samples):
        loud = np.convolve(np.abs(samples) > 0.1, np.ones(480), "same") > 0
        return samples + 1e-4 * loud * np.sin(2 * np.pi * 390 * np.arange(samples.size) / RATE_HZ)

    def bends(samples):  # harmonics, and what folds back of them
        return samples - 0.1 * samples**3 - 0.05 * samples**9

    for device, told in ((wire, []), (bends, []), (buzzes, ["spur"])):
        assert [item.code for item in check_sound_with_tones(take_of((LEVELS,), device, rng=rng))] == told
