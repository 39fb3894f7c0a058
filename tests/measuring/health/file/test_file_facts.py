import math
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from charprobe.files.sound.sound_file import open_capture, write_wav
from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.health.file.file_facts import check_file
from charprobe.measuring.health.file.sample_facts import gather_sample_facts
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render

RATE = 48_000
n = np.arange(10 * RATE)
NOISE = np.random.default_rng(5).normal(0, 10 ** (-110 / 20) / math.sqrt(2), n.size)
TONE = 0.5 * np.cos(2 * np.pi * 997 * n / RATE) + NOISE


def judged(source):
    return check_file(source, gather_sample_facts(source))


def check(samples):
    return judged(MemoryCapture(samples, rate_hz=RATE, name="take 3.wav"))


def only(found):
    assert len(found) == 1, found
    return found[0]


@pytest.mark.parametrize("recipe", ["quick", "colour"])
@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
@pytest.mark.parametrize("noise_dbfs", [-120, -90, -60])
def test_clean_captures_raise_nothing(tmp_path, rng, recipe, rate_hz, noise_dbfs):
    samples = render(lay_out(load_recipe(recipe), rate_hz=rate_hz, take=1))
    samples = -0.7 * samples + rng.normal(0, 10 ** (noise_dbfs / 20) / math.sqrt(2), samples.size)
    write_wav(tmp_path / "a.wav", samples, rate_hz=rate_hz, subtype="pcm24", force=False)
    assert judged(open_capture(tmp_path / "a.wav")) == ()


def test_digital_silence_stops_everything():
    item = only(check(np.zeros((RATE, 2))))
    assert (item.code, item.severity, item.start_s, item.end_s) == ("silent", "stop", 0.0, 1.0)
    assert "take 3.wav, all 2 channels, 0:00:01.000" in item.message
    assert "microphone permission" in item.message
    assert "File kept" in item.message
    assert {"static", "colour", "noise"} <= set(item.withholds)


def test_one_dead_channel_is_named_and_the_others_are_not():
    for dead in (np.zeros(n.size), NOISE):
        item = only(check(np.stack([TONE, dead], axis=1)))
        assert (item.code, item.severity, item.channel) == ("channel-dead", "warn", 1)
        assert "take 3.wav, channel 2" in item.message


def test_identical_channels_are_noted_once():
    item = only(check(np.stack([TONE, TONE], axis=1)))
    assert (item.code, item.severity, item.channel) == ("dual-mono", "note", 1)
    assert "Channels 1 and 2 are identical" in item.message


def test_a_recorder_that_clips_is_stopped_with_times():
    samples = TONE.copy()
    loud = slice(3 * RATE, 4 * RATE)
    samples[loud] = np.clip(3 * samples[loud], -1, 1 - 2.0**-23)
    item = only(check(samples))
    assert (item.code, item.severity, item.channel) == ("clipped", "stop", 0)
    assert item.start_s == pytest.approx(3.0, abs=0.0011)  # a period of the tone
    assert item.end_s == pytest.approx(4.0, abs=0.0011)
    assert "channel 1, 0:00:03.000 to 0:00:0" in item.message
    assert "retake" in item.message


def test_clipped_places_far_apart_are_told_apart():
    samples = TONE.copy()
    for second in (2, 7):
        loud = slice(second * RATE, second * RATE + 4800)
        samples[loud] = np.clip(3 * samples[loud], -1, 1 - 2.0**-23)
    assert [(item.code, round(item.start_s, 2), round(item.end_s, 2)) for item in check(samples)] == [
        ("clipped", 2.0, 2.1),
        ("clipped", 7.0, 7.1),
    ]


def test_a_twin_of_a_clipped_channel_is_called_clipped_too():
    samples = np.clip(3 * TONE, -1, 1 - 2.0**-23)
    found = check(np.stack([samples, samples], axis=1))
    assert [(item.code, item.channel) for item in found] == [("clipped", 0), ("dual-mono", 1), ("clipped", 1)]


@pytest.mark.parametrize("bits", [8, 16, 24])
def test_clipping_at_full_scale_is_known_at_every_word_length(bits):
    step = 2.0 ** (1 - bits)
    samples = np.clip(np.round(2.5 * TONE / step) * step, -1, 1 - step)
    # the highest code is one step short of full scale: at 8 bits the uneven clipping leaves a real offset
    codes = {item.code for item in check(samples)} - {"dc-offset"}
    assert codes == {"clipped"} | ({"few-bits"} if bits < 24 else set())


def test_flat_tops_below_full_scale_warn_with_their_level():
    samples = np.clip(1.9 * TONE, -0.7853, 0.7853) + NOISE[::-1]
    item = only(check(samples))
    assert (item.code, item.severity) == ("clipped-below-full-scale", "warn")
    assert "Flat tops at −2.1 dBFS" in item.message
    assert "bypass" in item.message


@pytest.mark.parametrize(("value", "count"), [(np.nan, 14), (np.inf, 1), (1e38, 2)])
def test_samples_that_are_no_numbers_stop_with_count_and_time(value, count):
    samples = TONE.copy()
    samples[2 * RATE : 2 * RATE + count] = value
    item = only(check(samples))
    assert (item.code, item.severity, item.start_s) == ("non-finite", "stop", 2.0)
    assert item.end_s == pytest.approx(2.0 + count / RATE)
    assert item.message.startswith(f"{count} samples that are no numbers")
    assert "0:00:02.000" in item.message


def test_broken_places_far_apart_are_told_apart():
    samples = TONE.copy()
    samples[[RATE, RATE + 9, 7 * RATE]] = np.nan
    assert [(item.start_s, item.message[:9]) for item in check(samples)] == [
        (1.0, "2 samples"),
        (7.0, "1 samples"),
    ]


@pytest.mark.parametrize(
    ("bits", "severity", "floor"), [(16, "warn", "98 dB"), (12, "warn", "74 dB"), (8, "stop", "50 dB")]
)
def test_few_bits_in_a_24_bit_file(tmp_path, bits, severity, floor):
    step = 2.0 ** (1 - bits)
    write_wav(tmp_path / "a.wav", np.round(TONE / step) * step, rate_hz=RATE, subtype="pcm24", force=False)
    item = only(judged(open_capture(tmp_path / "a.wav")))
    assert (item.code, item.severity) == ("few-bits", severity)
    assert f"Only {bits} bits carry data" in item.message
    assert floor in item.message
    assert ("colour" in item.withholds) == (severity == "stop")


def test_24_bits_in_the_low_part_of_32_stop(tmp_path):
    codes = np.round(TONE * 2**23).astype(np.int32)
    soundfile.write(tmp_path / "low.wav", codes, RATE, subtype="PCM_32")
    found = {item.code: item for item in judged(open_capture(tmp_path / "low.wav"))}
    assert set(found) == {"misplaced-bits", "low-level"}
    assert found["misplaced-bits"].severity == "stop"
    assert "48.16 dB low" in found["misplaced-bits"].message
    soundfile.write(tmp_path / "float.wav", codes / 2**31, RATE, subtype="FLOAT")
    assert "misplaced-bits" in {item.code for item in judged(open_capture(tmp_path / "float.wav"))}
    soundfile.write(tmp_path / "quiet.wav", TONE / 300, RATE, subtype="FLOAT")
    assert [item.code for item in judged(open_capture(tmp_path / "quiet.wav"))] == ["low-level"]
    soundfile.write(tmp_path / "right.wav", codes * 256, RATE, subtype="PCM_32")
    assert judged(open_capture(tmp_path / "right.wav")) == ()


@pytest.mark.parametrize(("offset", "found"), [(0.0089, True), (-0.0089, True), (0.0005, False)])
def test_dc_offset(offset, found):
    items = check(TONE + offset)
    assert [item.code for item in items] == (["dc-offset"] if found else [])
    if found:  # 20 log10(0.0089 sqrt 2)
        assert "DC offset −38 dBFS" in items[0].message
        assert "not removed" in items[0].message


def test_float_beyond_full_scale_is_a_note_and_not_clipping():
    item = only(check(2.9 * TONE))
    assert (item.code, item.severity) == ("beyond-full-scale", "note")
    assert "Peak +3.2 dBFS" in item.message


def test_a_quiet_capture_warns_with_the_gain_to_add():
    item = only(check(TONE / 100))
    assert (item.code, item.severity) == ("low-level", "warn")
    assert "Highest peak −46.0 dBFS" in item.message
    assert "by 40 dB" in item.message


def test_a_cut_off_file_and_an_overflowed_size_warn(tmp_path):
    path = tmp_path / "a.wav"
    write_wav(path, TONE, rate_hz=RATE, subtype="pcm24", force=False)
    path.write_bytes(path.read_bytes()[: -3 * 4 * RATE])
    item = only(judged(open_capture(path)))
    assert (item.code, item.severity, item.start_s) == ("truncated", "warn", 6.0)
    assert "Header promises 0:00:10.000, the file holds 0:00:06.000" in item.message
    source = MemoryCapture(TONE, rate_hz=RATE, name="long.wav")
    source.facts = replace(source.facts, length="wrapped", header_frames=5)
    item = only(judged(source))
    assert (item.code, item.severity) == ("size-overflow", "warn")
    assert "taken from the file itself" in item.message


def test_every_message_says_where_and_ends_with_what_was_kept():
    faulty = np.stack([np.clip(3 * TONE, -1, 1), TONE + 0.01, np.zeros(n.size), TONE / 100], axis=1)
    items = check(faulty)
    assert [item.code for item in items] == ["clipped", "dc-offset", "channel-dead", "low-level"]
    for item in items:
        assert f"take 3.wav, channel {item.channel + 1}" in item.message
        assert item.message.endswith(".")


def test_an_overflow_that_wraps_round_is_told_and_steep_waveforms_are_not():
    top = 0.4
    wrapped = only(check((TONE + top) % (2 * top) - top))
    assert (wrapped.code, wrapped.severity) == ("clipped", "stop")
    assert "begins again at its lowest" in wrapped.message
    rng = np.random.default_rng(8)
    for steep in (
        0.2 * rng.uniform(-1, 1, n.size),
        np.sign(TONE) * (1 - 0.05 * np.abs(TONE)),
        *(0.5 * np.cos(f * n) for f in (1.7, 1.83, 2.4)),
    ):
        assert all("overflowed" not in item.message for item in check(steep + NOISE))


@pytest.mark.parametrize("bit", [4, 9, 17])
def test_a_bit_that_never_changes_is_named(bit):
    codes = np.round(TONE * 2.0**23).astype(np.int64)
    for stuck in (codes | 1 << (24 - bit), codes & ~(1 << (24 - bit))):
        told = [item for item in check(stuck / 2.0**23) if item.code == "few-bits"]
        assert f"Bit {bit} never changes" in only(told).message


def test_an_offset_that_dies_away_is_told():
    beats = TONE * (n % RATE < RATE // 2)
    told = [item for item in check(beats + 0.1 * np.exp(-n / (0.7 * RATE))) if item.code == "dc-offset"]
    assert "offset moves by +0.0" in only(told).message
    assert all(item.code != "dc-offset" for item in check(beats))
