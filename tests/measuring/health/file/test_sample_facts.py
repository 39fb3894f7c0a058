import tracemalloc

import numpy as np
import pytest

from charprobe.files.sound import decoded
from charprobe.files.sound.sound_file import open_capture, write_wav
from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.health.file.sample_facts import (
    BLOCK_FRAMES,
    CoarseRun,
    SampleRun,
    gather_sample_facts,
)

RATE = 48_000


def gather(samples):
    return gather_sample_facts(MemoryCapture(samples, rate_hz=RATE, name="x"))


def test_peak_level_and_rest_have_their_closed_forms():
    n = np.arange(10 * RATE)
    samples = 0.01 + 0.5 * np.cos(2 * np.pi * 1000 * n / RATE) * (n < 5 * RATE)
    (facts,) = gather(samples)
    assert facts.peak == 0.51
    assert facts.peak_at == 0
    assert facts.level == pytest.approx(0.25, rel=1e-9)  # half the time at 0.5 / sqrt 2, in power
    assert facts.rest == pytest.approx(0.01, rel=1e-9)
    assert not facts.silent


def test_the_rest_is_that_of_the_quiet_parts():
    n = np.arange(20 * RATE)
    loud = n > 4 * RATE
    rectified = np.where(loud, 0.2 * np.abs(np.sin(2 * np.pi * 100 * n / RATE)), 0.0)  # mean 0.13 while loud
    (facts,) = gather(rectified + 1e-4)
    assert facts.rest == pytest.approx(1e-4, rel=0.01)  # the quiet quarter is 4 s, less than a fifth of all


@pytest.mark.parametrize("bits", [4, 8, 12, 16, 20, 24])
@pytest.mark.parametrize("peak", [0.9, 0.01])
def test_the_bits_that_carry_data_are_counted_whatever_the_level(rng, bits, peak):
    step = 2.0 ** (1 - bits)
    codes = np.round(rng.uniform(-peak, peak, 50_000) / step)
    codes[7] = 1
    (facts,) = gather(codes * step)
    assert facts.bits_used == bits


def test_a_stretch_of_a_shorter_word_is_found_and_silence_is_none(rng):
    samples = np.round(rng.uniform(-0.3, 0.3, 20 * BLOCK_FRAMES) * 2.0**23) / 2.0**23
    samples[2 * BLOCK_FRAMES : 5 * BLOCK_FRAMES] = 0.0
    assert gather(samples)[0].coarse is None
    rough = samples.copy()
    rough[11 * BLOCK_FRAMES :] = np.round(samples[11 * BLOCK_FRAMES :] * 2.0**10) / 2.0**10
    assert gather(rough)[0].coarse == CoarseRun(11 * BLOCK_FRAMES, 20 * BLOCK_FRAMES, 11)


def test_finer_than_24_bits_has_no_count(rng):
    (facts,) = gather(rng.normal(0, 0.1, 1000))
    assert facts.bits_used is None


@pytest.mark.parametrize(
    ("scale", "grid", "fits"),
    [(2.0**-9, 2**31, True), (0.1, 2**31, False), (2.0**-9, 2**40, False), (2.0**-9, 2**23, False)],
)
def test_24_bits_low_in_32_are_known_by_steps_and_height(rng, scale, grid, fits):
    samples = np.round(scale * rng.uniform(-1, 1, 3 * BLOCK_FRAMES) * grid) / grid
    samples[:BLOCK_FRAMES] = 0.0
    assert gather(samples)[0].fits_low_bytes == fits


def test_broken_samples_are_counted_placed_and_kept_out_of_the_figures(rng):
    samples = rng.uniform(-0.5, 0.5, 3 * BLOCK_FRAMES)
    clean = gather(samples)[0]
    places = [BLOCK_FRAMES - 1, BLOCK_FRAMES, BLOCK_FRAMES + 5]
    for place, value in zip(places, (np.nan, -np.inf, 1e38), strict=True):
        samples[place] = value
    (facts,) = gather(samples)
    assert facts.broken_at == (
        SampleRun(BLOCK_FRAMES - 1, BLOCK_FRAMES, 1),
        SampleRun(BLOCK_FRAMES, BLOCK_FRAMES + 6, 2),
    )
    assert facts.peak == clean.peak
    assert facts.level == pytest.approx(clean.level, rel=1e-3)  # three samples of 98 304


def test_twins_silence_and_almost_twins(rng):
    a = rng.uniform(-0.5, 0.5, 2 * BLOCK_FRAMES)
    almost = a.copy()
    almost[-1] += 2.0**-23
    facts = gather(np.stack([a, np.zeros_like(a), a, almost, a, np.zeros_like(a)], axis=1))
    assert [fact.twin_of for fact in facts] == [None, None, 0, None, 0, None]
    assert [fact.silent for fact in facts] == [False, True, False, False, False, True]


def test_only_tops_at_the_height_of_the_whole_channel_count():
    n = np.arange(4 * BLOCK_FRAMES)
    tone = np.sin(2 * np.pi * 997 * n / RATE)
    early_low = np.where(n < BLOCK_FRAMES, np.clip(tone, -0.3, 0.3), 0.8 * tone)
    assert gather(early_low)[0].flat_tops == ()
    late = np.where(n < BLOCK_FRAMES, 0.1 * tone, np.clip(tone, -0.3, 1.0))
    tops = gather(late)[0].flat_tops
    assert {top.ceiling for top in tops} == {-0.3}
    assert tops[0].start >= BLOCK_FRAMES


def test_memory_does_not_grow_with_length(tmp_path, monkeypatch):
    monkeypatch.setattr(decoded, "STRETCH_FRAMES", decoded.BLOCK_FRAMES)
    monkeypatch.setattr(
        decoded, "KEPT_FRAMES", 8 * decoded.BLOCK_FRAMES
    )  # half of what the shorter capture has
    peaks = []
    for blocks in (16, 64):
        path = tmp_path / f"{blocks}.wav"
        samples = np.random.default_rng(0).uniform(-0.5, 0.5, (blocks * BLOCK_FRAMES // 4, 8))
        write_wav(path, samples, rate_hz=RATE, subtype="pcm24", force=False)
        capture = open_capture(path)
        tracemalloc.start()
        gather_sample_facts(capture)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.1 * peaks[0]  # a few numbers per block on top of one block
