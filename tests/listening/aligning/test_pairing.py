from functools import cache

import numpy as np
import pytest
import soxr
from held import as_source, on_24_bit, shifted
from scipy.signal import butter, sosfilt

from charprobe.listening.aligning.pair_checks import PairingError
from charprobe.listening.aligning.pairing import pair_files
from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.simulation.devices.parts.gain_computer import Bend
from charprobe.stimulus.kinds.material import generate

RATE_HZ = 48_000
GOAL_FRAMES, GOAL_PPM = 0.02, 0.2  # the stated goals
STAGE = Compressor(
    name="made",
    summary="made",
    bends=(Bend(threshold_dbfs=-24, slope=0.75, knee_db=6),),
    attack_s=0.005,
    release_s=0.1,
    makeup_db=6,
)


def held(samples):
    if samples.ndim == 1:
        return on_24_bit(samples, rate_hz=RATE_HZ)
    return as_source(np.round(samples * 2**23) / 2**23, RATE_HZ)


@cache
def made(kind):
    dry = generate(kind, seconds=4, rate_hz=RATE_HZ, rng=np.random.default_rng(3))
    wet = STAGE.process(dry, rate_hz=RATE_HZ, rng=np.random.default_rng(1)).samples
    dry.flags.writeable = wet.flags.writeable = False
    return dry, wet


@pytest.fixture(scope="module", params=["music", "speech"])
def sounds(request):
    return made(request.param)


@pytest.fixture(scope="module")
def music():
    return made("music")


def test_delay_and_polarity_of_a_compressed_and_saturated_file(sounds):
    dry, wet = sounds
    pair = pair_files(held(dry), held(-shifted(np.tanh(2 * wet) / 2, 1234.567)))
    assert abs(pair.delay.value - 1234.567) < GOAL_FRAMES
    assert pair.polarity == -1
    assert pair.jumps == ()
    assert pair.roles.verdict == "as named"
    assert pair.drift_ppm.value == 0


@pytest.mark.parametrize(("kind", "ppm"), [("music", 18.4), ("speech", -60.0)])
def test_drift_of_a_compressed_file(kind, ppm):
    dry, wet = made(kind)
    stretched = soxr.resample(shifted(wet, 7.25), RATE_HZ, RATE_HZ * (1 + 1e-6 * ppm), quality="VHQ")
    pair = pair_files(held(dry), held(stretched))
    assert abs(pair.drift_ppm.value - ppm) < GOAL_PPM
    at_first = 7.25 + 1e-6 * ppm * (pair.processed.first + 7.25)
    assert abs(pair.delay.value - at_first) < GOAL_FRAMES


def test_a_filter_in_the_stage_is_not_taken_for_delay(music):
    dry, wet = music
    low_cut = sosfilt(butter(1, 40, "high", fs=RATE_HZ, output="sos"), wet)
    shelf = low_cut + 0.5 * sosfilt(butter(1, 5000, "high", fs=RATE_HZ, output="sos"), low_cut)
    pair = pair_files(held(dry), held(shifted(shelf, 33.3)))
    assert pair.response_fitted
    assert abs(pair.delay.value - 33.3) < GOAL_FRAMES


def test_a_processed_file_that_starts_later_in_the_take_is_found(music):
    dry, wet = music
    pair = pair_files(held(dry), held(wet[5000:]))
    assert pair.delay.value == -5000
    assert (pair.processed.first, pair.dry.frames) == (5000, dry.size - 5000)


def test_a_change_of_latency_inside_the_file_is_reported(sounds):
    dry, wet = sounds
    at = 2 * RATE_HZ
    jumped = np.concatenate([shifted(wet, 10)[: at + 10], shifted(wet, 106)[at + 10 :]])
    pair = pair_files(held(dry), held(jumped))
    assert len(pair.jumps) == 1
    assert abs(pair.jumps[0].frames - 96) < GOAL_FRAMES
    # 96 frames were repeated; placed to a bin of 256 frames, or to the next sound where it falls into a pause
    assert abs(pair.jumps[0].at_s - 2) < 0.3
    assert any("latency changes" in note for note in pair.notes)


def test_swapped_roles_are_said_and_not_mended(sounds):
    dry, wet = sounds
    pair = pair_files(held(wet), held(dry))
    assert pair.roles.verdict == "swapped"
    assert any("look swapped" in note and "Nothing was exchanged" in note for note in pair.notes)
    assert abs(pair.delay.value) < GOAL_FRAMES


def test_two_linear_files_do_not_show_who_was_first(music):
    dry, _ = music
    assert pair_files(held(dry), held(0.5 * dry)).roles.verdict == "cannot tell"


def test_a_mixed_in_dry_path_is_told_with_its_delay(music):
    dry, wet = music
    mixed = shifted(wet, 300)[: dry.size] + 0.5 * shifted(dry, 104)[: dry.size]
    second = pair_files(held(dry), held(mixed)).second_path
    assert second is not None
    assert (
        abs(abs(second.delay_s) - 196 / RATE_HZ) < 2 / RATE_HZ
    )  # the peak of a band-limited arrival, by sample


def test_a_clean_pair_has_no_second_path(sounds):
    dry, wet = sounds
    assert pair_files(held(dry), held(wet)).second_path is None


def test_mono_dry_stands_beside_both_channels_of_a_stereo_file(music):
    dry, wet = music
    pair = pair_files(held(dry), held(np.stack([wet, 0.5 * wet], axis=1)))
    assert pair.dry_channels == (0, 0)
    assert any("mono" in note for note in pair.notes)


def test_exchanged_channels_are_refused():
    one, two = made("music")[0], made("speech")[0]
    with pytest.raises(PairingError, match="left and right are exchanged"):
        pair_files(held(np.stack([one, two], axis=1)), held(np.stack([two, one], axis=1)))


def test_different_sound_is_refused(music):
    other = generate("music", seconds=4, rate_hz=RATE_HZ, rng=np.random.default_rng(4))
    with pytest.raises(PairingError, match="do not hold the same sound"):
        pair_files(held(music[0]), held(other))


def test_different_rates_stereo_with_mono_silence_and_scraps_are_refused(music):
    dry, wet = music
    with pytest.raises(PairingError, match="44100 Hz"):
        pair_files(held(dry), on_24_bit(wet, rate_hz=44_100))
    with pytest.raises(PairingError, match="2 channels"):
        pair_files(held(np.stack([dry, dry], axis=1)), held(wet))
    with pytest.raises(PairingError, match="digital silence"):
        pair_files(held(dry), held(np.zeros(dry.size)))
    with pytest.raises(PairingError, match=r"at least 0\.5 s"):
        pair_files(held(dry), held(wet[:1000]))


def test_two_seconds_are_enough_for_the_delay(music):
    dry, wet = music
    pair = pair_files(held(dry[: 2 * RATE_HZ]), held(shifted(wet[: 2 * RATE_HZ], 20.5)))
    assert abs(pair.delay.value - 20.5) < GOAL_FRAMES
    assert pair.drift_ppm.value == 0
    assert pair.drift_ppm.low < 0 < pair.drift_ppm.high


@cache
def five_seconds(kind, seed):
    return generate(kind, seconds=5, rate_hz=RATE_HZ, rng=np.random.default_rng(seed))


@pytest.mark.parametrize("kind", ["music", "speech"])
@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("first_s", "length_s"), [(0.0, 0.7), (0.0, 1.0), (1.0, 2.0)])
def test_short_excerpts_are_placed(kind, seed, first_s, length_s):
    whole = five_seconds(kind, seed)
    first = round(first_s * RATE_HZ)
    part = 0.7 * whole[first : first + round(length_s * RATE_HZ)]
    assert abs(pair_files(held(whole), held(part)).delay.value + first) < 0.02  # the stated goal


def test_one_silent_channel_and_a_beat_without_an_end_get_an_answer_or_one_message(rng):
    sound = five_seconds("music", 1)[: 3 * RATE_HZ]
    stereo = np.stack([sound, 0 * sound], axis=1)
    assert abs(pair_files(as_source(stereo, RATE_HZ), as_source(0.5 * stereo, RATE_HZ)).delay.value) < 0.02
    clicks = np.zeros(3 * RATE_HZ)
    clicks[1000::12_000] = 0.9
    with pytest.raises(PairingError, match="repeats itself too evenly"):
        pair_files(held(clicks), held(0.5 * np.roll(clicks, 100)))


def tones_at(levels_db):
    bell = np.sin(2 * np.pi * 1000 * np.arange(19_200) / RATE_HZ) * np.hanning(19_200)
    return np.concatenate([np.pad(10 ** (level / 20) * bell, (0, 19_200)) for level in levels_db])


def drum_loop(rng):
    time_s = np.arange(RATE_HZ // 2) / RATE_HZ
    hit = np.exp(-time_s / 0.05) * np.sin(2 * np.pi * 60 * time_s)
    return np.tile(0.6 * hit + 0.1 * np.exp(-time_s / 0.01) * rng.standard_normal(time_s.size), 12)


@pytest.mark.parametrize("sound", ["rising", "falling", "loop"])
def test_repeats_that_cannot_be_placed_are_refused_by_that_name(sound, rng):
    levels_db = np.arange(-40, 0, 3.0)
    repeats = (
        drum_loop(rng) if sound == "loop" else tones_at(levels_db if sound == "rising" else -43 - levels_db)
    )
    with pytest.raises(PairingError, match=r"repeats itself too evenly to be placed.*something happens once"):
        pair_files(held(repeats), held(0.7 * np.pad(repeats, (100, 0))))
