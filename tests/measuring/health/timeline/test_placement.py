"""What the place of a stimulus tells: every fault is cut in by hand."""

import numpy as np
import pytest
from played import RATE_HZ, capture, recorded, short_stimulus

from charprobe.measuring.health.file.same_sound import check_roles, equals_stimulus
from charprobe.measuring.health.timeline.placement import check_placement
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.stimulus.render import render

STIMULUS = short_stimulus()
STEPS, HARMONICS, BURSTS = STIMULUS.segments
CLEAN = {"delay": 4800.4, "drift_ppm": 0.0}


def judged(samples, stimulus=STIMULUS):
    found = check_placement(place_take(Track(capture(samples), 0, stimulus)))
    return {item.code: item for item in found}


@pytest.mark.parametrize("device", [lambda x: x, np.tanh, lambda x: 3 * np.tanh(5 * x)])
@pytest.mark.parametrize("noise_dbfs", [-110.0, -70.0])
def test_a_clean_capture_is_not_blamed(device, noise_dbfs, rng):
    samples = device(recorded(STIMULUS, **CLEAN))
    samples = samples + rng.normal(0, 10 ** (noise_dbfs / 20), samples.size)
    assert judged(samples) == {}


def test_start_missing(rng):
    samples = recorded(STIMULUS, **CLEAN, noise=rng)[4800 + STEPS.span.start + 2000 :]
    item = judged(samples)["start-missing"]
    assert item.severity == "warn"
    assert "First marker missing (take.wav, channel 1): aligned by the second" in item.message
    assert "Kept: harmonics, bursts; missing: steps." in item.message
    assert item.withholds == ("static",)


def test_truncated(rng):
    end = 4800 + BURSTS.span.start + 30_000
    item = judged(recorded(STIMULUS, **CLEAN, frames=end, noise=rng))["truncated"]
    assert item.severity == "warn"
    at_s = end / RATE_HZ
    assert f"Ends at segment 3 of 3 (take.wav, channel 1, 0:00:0{at_s:.3f})" in item.message
    assert "Kept: steps, harmonics; missing: bursts." in item.message
    assert item.withholds == ("attack", "release")
    assert abs(item.start_s - at_s) < 1e-9


def test_added_silence(rng):
    samples = np.concatenate([np.zeros(3 * RATE_HZ), recorded(STIMULUS, delay=0.2 * RATE_HZ, noise=rng)])
    item = judged(samples)["added-silence"]
    assert item.severity == "note" and "3.20 s added in front" in item.message


def test_two_takes(rng):
    one = recorded(STIMULUS, **CLEAN, noise=rng)
    found = judged(np.concatenate([one, recorded(STIMULUS, delay=2000.0, noise=rng)]))
    item = found["two-takes"]
    assert item.severity == "warn" and "Two complete runs found" in item.message
    assert abs(item.start_s - (one.size + 2000 + STIMULUS.opening.start) / RATE_HZ) < 1e-4


def test_other_order(rng):
    samples = recorded(STIMULUS, **CLEAN, noise=rng)
    a, b, c = (4800 + s.span.start - 4000 for s in STIMULUS.segments)
    end = 4800 + STIMULUS.closing.start - 4000
    samples = np.concatenate([samples[:a], samples[b:c], samples[a:b], samples[c:end], samples[end:]])
    item = judged(samples)["reordered"]
    assert item.severity == "stop" and "another order" in item.message
    assert "'steps' at " in item.message or "'harmonics' at " in item.message


def test_a_muted_segment(rng):
    samples = recorded(STIMULUS, **CLEAN, noise=rng)
    samples[4800 + HARMONICS.span.start - 100 : 4800 + HARMONICS.span.stop + 100] *= 1e-5
    item = judged(samples)["stimulus-not-found"]
    assert item.severity == "stop" and "'harmonics' does not sound at its place" in item.message
    assert item.withholds == ("colour", "noise.under_signal", "noise.rise_under_signal")
    assert abs(item.start_s - (4800.4 + HARMONICS.span.start) / RATE_HZ) < 1e-4


def test_the_take_of_another_setting(rng):
    samples = recorded(short_stimulus(take=2), **CLEAN, noise=rng)
    item = judged(samples)["wrong-stimulus"]
    assert item.severity == "warn" and "cue sheet says take 7, the sound says take 2" in item.message


def test_gap_cut_by_an_editor(rng):
    samples = recorded(STIMULUS, **CLEAN, noise=rng)
    at = 4800 + STEPS.span.stop + 1000
    found = judged(np.concatenate([samples[:at], samples[at + 9600 :]]))
    item = found["gap-edited"]
    assert item.severity == "stop" and "Gaps are 0.20 s shorter than played" in item.message
    assert {"attack", "release"} <= set(item.withholds) and "static" not in item.withholds
    assert set(found) == {"gap-edited"}


@pytest.mark.parametrize("lost", [1, 96, 333])
def test_lost_samples_in_the_bursts(lost, rng):
    samples = recorded(STIMULUS, delay=4800.4, drift_ppm=15.0, noise=rng)
    at = 4800 + BURSTS.tones[3].start + 20
    item = judged(np.concatenate([samples[:at], samples[at + lost :]]))["timing-jump"]
    assert item.severity == "stop"
    assert f"Timing jumps {lost} samples between" in item.message and "lost samples" in item.message
    assert item.start_s <= at / RATE_HZ <= item.end_s
    assert {"attack", "release"} <= set(item.withholds) and "static" not in item.withholds


@pytest.mark.parametrize(
    ("drift_ppm", "severity", "text"),
    [(18.4, "note", "+18.4"), (-420.0, "warn", "−420.0"), (1001.0, "warn", "+1001.0")],
)
def test_clock(drift_ppm, severity, text, rng):
    found = judged(recorded(STIMULUS, delay=4800.4, drift_ppm=drift_ppm, noise=rng))
    assert set(found) == {"clock-drift"}
    assert found["clock-drift"].severity == severity
    assert f"Recorder runs {text} ppm" in found["clock-drift"].message


def test_polarity(rng):
    found = judged(-recorded(STIMULUS, **CLEAN, noise=rng))
    assert set(found) == {"polarity-inverted"} and found["polarity-inverted"].severity == "note"


def test_the_stimulus_itself_and_exchanged_files(rng):
    same = np.concatenate([np.zeros(500), render(STIMULUS), np.zeros(100)])
    rounded = np.round(same * 32768) / 32768
    assert judged(same)["equals-stimulus"].severity == "warn"
    itself = place_take(Track(capture(rounded, name="wet.wav"), 0, STIMULUS))
    through = place_take(Track(capture(np.tanh(same), name="dry.wav"), 0, STIMULUS))
    assert equals_stimulus(itself) and not equals_stimulus(through)
    converter = np.round((same + rng.normal(0, 2.2e-6, same.size)) * 2**23) / 2**23  # -110 dBFS, 24 bits
    assert judged(converter) == {}
    (item,) = check_roles(itself, through)
    assert item.code == "swapped-roles" and item.severity == "stop"
    assert "wet.wav matches the stimulus exactly and the bypass dry.wav does not" in item.message
    assert check_roles(through, itself) == () and check_roles(itself, itself) == ()
