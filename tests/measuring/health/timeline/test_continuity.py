"""Dropouts and clicks in whole captures, injected sample by sample."""

import numpy as np
import pytest
from played import RATE_HZ, capture, recorded, short_stimulus
from taken import take_of

from charprobe.measuring.health.echoes import together
from charprobe.measuring.health.timeline.continuity import check_continuity
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.stimulus.kinds.bursts import Bursts

STIMULUS = short_stimulus()
STEPS, HARMONICS, BURSTS = STIMULUS.segments
DELAY = 4800.3


@pytest.fixture
def clean(rng):
    return recorded(STIMULUS, delay=DELAY, noise=rng)


def judged(samples):
    return check_continuity(place_take(Track(capture(samples), 0, STIMULUS)))


def inside(tone, share=0.5):
    return round(DELAY + tone.start + share * tone.length)


@pytest.mark.parametrize("drift_ppm", [0.0, -80.0])
def test_a_clean_capture_is_not_blamed(drift_ppm, rng):
    assert judged(recorded(STIMULUS, delay=DELAY, drift_ppm=drift_ppm, noise=rng)) == ()


@pytest.mark.parametrize("count", [3, 37, 400])
def test_a_gap_of_zeros(count, clean):
    at = inside(STEPS.tones[2])
    clean[at : at + count] = 0
    (item,) = judged(clean)
    assert (item.code, item.severity, item.channel) == ("dropout", "stop", 0)
    told = int(item.message.split()[2])
    assert abs(told - count) <= 1  # a sample beside the gap may be as good as zero
    assert "0:00:0" in item.message and "channel 1; segment 'steps' withheld" in item.message
    assert abs(item.start_s - at / RATE_HZ) < 1e-4
    assert item.withholds == ("static",)


@pytest.mark.parametrize("count", [1, 10, 70])
@pytest.mark.parametrize("sign", [1, -1])
def test_lost_and_repeated_samples(count, sign, clean):
    tone = HARMONICS.tones[1]  # 443 Hz
    at = inside(tone)
    (item, *_) = judged(np.concatenate([clean[:at], clean[at + sign * count :]]))
    assert item.code == "dropout" and "samples lost or repeated" in item.message
    turn_deg = 360 * tone.frequency_hz * count / RATE_HZ
    told_deg = float(item.message.split("°")[0].split()[-1])
    assert abs(told_deg - abs((turn_deg + 180) % 360 - 180)) <= 1.5  # told to the degree
    assert abs(item.start_s - at / RATE_HZ) < 1e-4


def test_a_click_is_no_dropout(clean):
    at = inside(BURSTS.tones[4])
    clean[at] += 0.05
    (item,) = judged(clean)
    assert (item.code, item.severity, item.withholds) == ("click", "warn", ())
    assert "segment 'bursts'" in item.message and abs(item.start_s - at / RATE_HZ) < 1e-4


def test_a_small_click_while_the_gain_moves_may_be_the_stages_own(clean):
    tone = STEPS.tones[3]
    first, last = inside(tone, 0.0), inside(tone, 1.0)
    clean[inside(tone, 0.6)] += 0.005 * 10 ** (tone.level_dbfs / 20)
    (at_rest,) = judged(clean)
    clean[first:last] *= 10 ** (np.linspace(0, -0.2, last - first) / 20)  # a release of 0.2 dB
    (moving,) = judged(clean)
    assert (at_rest.severity, moving.severity, moving.code) == ("warn", "note", "click")


def test_crackle_is_summed_up(clean):
    for tone in STEPS.tones:
        for share in (0.2, 0.4, 0.6, 0.8):
            clean[inside(tone, share)] += 0.3
    clicks = [item for item in together(judged(clean)) if item.code == "click"]
    assert len(judged(clean)) > 20 and len(clicks) <= 3
    assert any("Again at" in item.message and "times more" in item.message for item in clicks)


def test_a_tone_that_is_mostly_missing_is_told_without_an_error(clean):
    tone = HARMONICS.tones[1]
    first, last = inside(tone, 0.1), inside(tone, 0.9)
    middle = inside(tone, 0.5)
    clean[first:last] = 0
    clean[middle] = 0.2  # a break with silence on both sides
    items = judged(clean)
    assert items and {item.code for item in items} <= {"dropout", "click"}


@pytest.mark.parametrize("gain_db", [-3.0, 0.5])
def test_a_gain_step_is_no_click(gain_db, clean):
    at = inside(STEPS.tones[3])
    clean[at:] *= 10 ** (gain_db / 20)
    steps = [item for item in judged(clean) if item.code == "gain-step"]
    assert len(steps) == 1 and abs(steps[0].start_s - at / RATE_HZ) < 1e-3
    told = float(steps[0].message.split()[2].replace("−", "-"))
    assert told == pytest.approx(gain_db, abs=0.02)


def stepping(samples, tones, step_db=1.5):
    """Let the gain step by so much within each of these tones, from there to its end."""
    for tone in tones:
        samples[inside(tone, 0.45) : round(DELAY + tone.stop)] *= 10 ** (step_db / 20)
    return samples


LOUD = [*STEPS.tones[3:7], *(tone for tone in BURSTS.tones if tone.level_dbfs > -10)]


def test_a_gain_that_steps_wherever_it_is_loud_is_the_stages_own_and_told_once(clean):
    (item,) = judged(stepping(clean, LOUD))
    assert (item.code, item.severity, item.withholds) == ("stepped-gain", "warn", ())
    assert "in steps of 1.50 dB" in item.message


def test_a_click_that_stands_out_of_a_stages_own_steps_is_told(clean):
    samples = stepping(clean, LOUD)
    samples[inside(STEPS.tones[4], 0.7)] += 0.3
    assert sorted(item.code for item in judged(samples)) == ["click", "stepped-gain"]


@pytest.mark.parametrize("tones", [STEPS.tones, STEPS.tones[3:7]])
def test_a_contact_that_knows_no_level_or_crackles_for_a_while_is_no_stage(tones, clean):
    found = judged(stepping(clean, tones))
    assert len(found) > 2
    assert all(item.code != "stepped-gain" for item in found)


def closed_at_once(samples):
    """A gate that opens at once, and closes in one step into the noise 80 ms after the last loud sound."""
    heard = np.flatnonzero(np.abs(samples) > 10 ** (-35 / 20))
    gain = np.full(samples.size, 1e-3)
    for at in heard:
        gain[at : at + 3840] = 1.0
    return samples * gain


def test_a_gate_that_closes_in_one_step_after_loud_sound_is_the_stages_own(rng):
    bursts = [
        Bursts(name, 4093.0, 5, -56.0, -20.0, 0.15, hold_s=0.15, release_s=0.3, gap_s=0.1)
        for name in ("a", "b")
    ]
    found = check_continuity(take_of(bursts, closed_at_once, rng=rng, noise_dbfs=-100.0))
    assert [item.code for item in found] == ["stepped-gain"]


def echoed(samples, late=1440, part=0.006):
    """What is played is heard once more 30 ms later, 44 dB softer."""
    return samples + part * np.concatenate([np.zeros(late), samples[:-late]])


def test_what_follows_from_what_was_played_at_one_moment_of_every_burst_is_no_lost_sample(rng):
    bursts = [Bursts("a", 4093.0, 5, -40.0, -5.0, 0.15, hold_s=0.15, release_s=0.3, gap_s=0.1)]
    (item,) = check_continuity(take_of(bursts, echoed, rng=rng))
    assert (item.code, item.severity, item.withholds) == ("click", "note", ())

    def loses(samples):
        echo, at = echoed(samples), np.flatnonzero(np.abs(samples) > 0.3)[-1] - 2000
        return np.concatenate([echo[:at], echo[at + 7 :], np.zeros(7)])

    found = check_continuity(take_of(bursts, loses, rng=rng))
    assert sorted(item.code for item in found) == ["click", "dropout"]
