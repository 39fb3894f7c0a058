import hashlib
import pickle
import tracemalloc

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from charprobe.files.sound import sound_file as audio
from charprobe.files.sound import wav_header
from charprobe.files.sound.sound_file import Capture, open_capture, write_wav
from charprobe.values.errors import SoundFileError

NOISE = np.random.default_rng(1).uniform(-1, 1, (3000, 3))
LSB = 2.0**-23


@pytest.mark.parametrize(
    ("kind", "subtype", "step"),
    [
        ("WAV", "PCM_U8", 2.0**-7),
        ("WAV", "PCM_16", 2.0**-15),
        ("WAV", "PCM_24", LSB),
        ("WAV", "PCM_32", 2.0**-31),
        ("WAV", "FLOAT", 0),
        ("WAV", "DOUBLE", 0),
        ("WAVEX", "PCM_24", LSB),
        ("WAVEX", "FLOAT", 0),
        ("RF64", "PCM_24", LSB),
        ("RF64", "FLOAT", 0),
        ("FLAC", "PCM_16", 2.0**-15),
        ("FLAC", "PCM_24", LSB),
        ("AIFF", "PCM_24", LSB),
        ("AIFF", "FLOAT", 0),
        ("CAF", "PCM_24", LSB),
        ("W64", "PCM_24", LSB),
    ],
)
@pytest.mark.parametrize("channels", [1, 3, 8])
def test_every_kind_is_read_to_the_bit(tmp_path, kind, subtype, step, channels):
    values = np.random.default_rng(2).uniform(-1, 1, (5000, channels))
    if step:
        values = np.round(values / step) * step  # codes, written as int32 so that nothing else rounds them
        stored = (np.clip(values, -1, 1 - step) * 2**31).astype(np.int32)
        values = stored / 2**31
    else:
        stored = values = values.astype(np.float32).astype(float)
    path = tmp_path / "take"
    soundfile.write(path, stored, 96_000, subtype=subtype, format=kind)
    capture = open_capture(path)
    assert (capture.rate_hz, capture.frames, capture.channels) == (96_000, 5000, channels)
    assert capture.facts.length == "as written"
    assert capture.facts.duration_s == 5000 / 96_000
    assert np.array_equal(capture.read_frames(0, 5000), values)
    for start, stop in ((0, 10), (4090, 4100), (4990, 6000), (-5, 3)):
        expected = values[max(start, 0) : stop, channels - 1]
        assert np.array_equal(capture.read(start, stop, channels - 1), expected)
    assert np.array_equal(np.concatenate(list(capture.blocks(0, 999))), values[:, 0])
    assert capture.read(7000, 8000, 0).size == 0


def test_facts_say_what_the_header_says(tmp_path):
    path = tmp_path / "Größe 7.wav"
    soundfile.write(path, NOISE, 44_100, subtype="PCM_24", format="WAVEX")
    capture = open_capture(str(path))
    facts = capture.facts
    assert (facts.container, facts.subtype, facts.bits) == ("WAV extensible", "pcm24", 24)
    assert facts.size_bytes == path.stat().st_size
    assert capture.name == "Größe 7.wav"
    assert capture.sha256() == hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_capture_travels_to_other_processes(tmp_path):
    write_wav(tmp_path / "a.wav", NOISE, rate_hz=48_000, subtype="float32", force=False)
    capture = open_capture(tmp_path / "a.wav")
    twin = pickle.loads(pickle.dumps(capture))
    assert isinstance(twin, Capture)
    assert np.array_equal(twin.read(5, 50, 2), capture.read(5, 50, 2))


@pytest.mark.parametrize("name", ["with spaces and ünïcödé 録音.wav", "n" * 200 + ".wav"])
def test_awkward_names_work(tmp_path, name):
    folder = tmp_path / "a folder é"
    folder.mkdir()
    write_wav(folder / name, NOISE, rate_hz=48_000, subtype="pcm24", force=False)
    assert open_capture(folder / name).frames == len(NOISE)
    flac = folder / name.replace(".wav", ".flac")
    soundfile.write(flac, NOISE, 48_000)
    assert open_capture(flac).read(0, 10, 0).size == 10


def test_a_5_gb_capture_is_read_with_flat_memory(tmp_path):
    path = tmp_path / "long.wav"
    frames = 210_000_000  # 8 channels of 24 bits: 5.04 GB, 73 min at 48 kHz
    head = wav_header.wav_header(encoding="pcm24", rate_hz=48_000, channels=8, frames=frames)
    last = b"".join(code.to_bytes(3, "little", signed=True) for code in range(-4, 4))
    with path.open("wb") as stream:
        stream.write(head)
        stream.truncate(len(head) + frames * 24)
        stream.seek(-24, 2)
        stream.write(last)
    capture = open_capture(path)
    assert (capture.facts.container, capture.frames, capture.channels) == ("RF64", frames, 8)
    tracemalloc.start()
    try:
        assert capture.read(frames - 1000, frames, 0)[-1] == -4 * LSB
        assert capture.read_frames(frames - 2, frames).tolist() == [
            [0.0] * 8,
            [k * LSB for k in range(-4, 4)],
        ]
        blocks = capture.blocks(7, 1 << 16)
        assert not any(next(blocks).any() for _ in range(20))
        peak_bytes = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak_bytes < 40e6  # a block of 65 536 frames of 8 channels: raw, as int32 and as float64


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "0 bytes (not downloaded yet"),
        (b"ID3\4\0\0" + bytes(100), "MP3 file: its coding throws sound away"),
        (b"OggS\0\2" + bytes(100), "Ogg file: its coding throws sound away"),
        (b"\0\0\0\x20ftypisom" + bytes(100), "MP4, M4A or MOV file: it can hold several tracks"),
        (b"a shopping list\n", "text file: it holds no sound"),
        (bytes(500), "unknown file: its first bytes are not those of any sound file"),
        (b"fLaC" + bytes(100), "looks like FLAC but cannot be opened"),
        (b"RIFF\0\0\0\0WAVE", "no usable format chunk"),
    ],
)
def test_what_is_no_capture_gives_one_message_with_the_accepted_kinds(tmp_path, content, message):
    path = tmp_path / "take.wav"
    path.write_bytes(content)
    with pytest.raises(SoundFileError) as caught:
        open_capture(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert message in str(caught.value)
    assert path.read_bytes() == content


def test_missing_and_folder(tmp_path):
    with pytest.raises(SoundFileError, match=r"no such file: check the name.*accepted are WAV"):
        open_capture(tmp_path / "none.wav")
    with pytest.raises(SoundFileError, match="cannot be reached"):
        open_capture(tmp_path / ("n" * 300))
    with pytest.raises(SoundFileError, match="is a folder"):
        open_capture(tmp_path)


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    path = tmp_path / "a.wav"
    write_wav(path, NOISE, rate_hz=48_000, subtype="pcm24", force=False)

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(path), "open", refuse)
    with pytest.raises(SoundFileError, match="may not be read: allow reading it"):
        open_capture(path)


def test_coded_sound_in_a_good_container_is_refused(tmp_path):
    soundfile.write(tmp_path / "a.aifc", NOISE[:, 0], 48_000, format="AIFF", subtype="ULAW")
    with pytest.raises(SoundFileError, match="AIFF-C file with ULAW samples"):
        open_capture(tmp_path / "a.aifc")
    soundfile.write(tmp_path / "a.caf", NOISE, 48_000, format="CAF", subtype="ALAC_24")
    # lossless, but the library returns wrong values beyond two channels
    with pytest.raises(SoundFileError, match="CAF file with ALAC_24 samples"):
        open_capture(tmp_path / "a.caf")
    soundfile.write(tmp_path / "a.wav", NOISE[:, 0], 48_000, subtype="IMA_ADPCM")
    with pytest.raises(SoundFileError, match="ADPCM samples"):
        open_capture(tmp_path / "a.wav")


def plain_wav(tmp_path):
    path = tmp_path / "a.wav"
    write_wav(path, NOISE, rate_hz=48_000, subtype="pcm24", force=True)
    return path


def test_a_header_never_finished_is_told_with_the_length_of_the_sound(tmp_path):
    path = tmp_path / "a.wav"
    write_wav(path, np.tile(NOISE, (50, 1)), rate_hz=48_000, subtype="pcm24", force=True)
    raw = bytearray(path.read_bytes())
    at = raw.index(b"data") + 4
    raw[at : at + 4] = bytes(4)
    path.write_bytes(raw)
    with pytest.raises(SoundFileError, match=r"never finished .* 3\.1 s of sound .*--repair COPY"):
        open_capture(path)
    assert path.read_bytes() == raw


def test_a_cut_off_file_is_read_as_far_as_it_goes(tmp_path):
    path = plain_wav(tmp_path)
    path.write_bytes(path.read_bytes()[:-9002])
    capture = open_capture(path)
    assert (capture.facts.length, capture.facts.header_frames, capture.frames) == (
        "longer than file",
        3000,
        1999,
    )
    assert capture.read(1990, 5000, 2).size == 9


def test_a_cut_off_flac_is_read_as_far_as_it_goes(tmp_path):
    path = tmp_path / "a.flac"
    soundfile.write(path, np.tile(NOISE, (10, 1)), 48_000, subtype="PCM_24")
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    capture = open_capture(path)
    assert capture.facts.length == "longer than file"
    assert capture.facts.header_frames == 30_000
    assert 10_000 < capture.frames < 15_000  # whole FLAC frames in half of the file
    assert np.array_equal(capture.read_frames(0, 3000), np.round(NOISE / LSB) * LSB)
    assert capture.read(0, capture.frames, 1).size == capture.frames


def test_no_samples_at_all(tmp_path):
    for kind in ("WAV", "AIFF"):
        soundfile.write(tmp_path / kind, np.zeros((0, 1)), 48_000, format=kind, subtype="PCM_16")
        with pytest.raises(SoundFileError, match="without a single sample"):
            open_capture(tmp_path / kind)


def test_a_file_still_being_recorded(tmp_path, monkeypatch):
    path = plain_wav(tmp_path)
    whole = path.read_bytes()
    path.write_bytes(whole[:-900])

    def layout_while_growing(*arguments, **named):
        found = wav_header.read_wav_layout(*arguments, **named)
        path.write_bytes(whole[:-300])
        return found

    monkeypatch.setattr(audio, "read_wav_layout", layout_while_growing)
    with pytest.raises(SoundFileError, match=r"still growing.*Wait until it is finished"):
        open_capture(path)


@pytest.mark.parametrize("change", [-900, 900])
@pytest.mark.parametrize("kind", ["WAV", "FLAC"])
def test_a_file_that_grows_or_shrinks_after_opening(tmp_path, kind, change):
    path = tmp_path / "take"
    soundfile.write(path, NOISE, 48_000, format=kind, subtype="PCM_24")
    capture = open_capture(path)
    with path.open("r+b") as stream:
        stream.truncate(path.stat().st_size + change)
    for attempt in (lambda: capture.read(0, 10, 0), capture.sha256):
        with pytest.raises(SoundFileError, match="when it was opened: it is still being recorded or copied"):
            attempt()
    path.unlink()
    with pytest.raises(SoundFileError, match="no such file"):
        capture.read(0, 10, 0)


WAV_TEMPLATE = (
    wav_header.wav_header(encoding="pcm24", rate_hz=48_000, channels=2, frames=50)
    + bytes(range(256))
    + bytes(44)
)


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 400), st.binary(min_size=1, max_size=12), st.integers(0, 60))
def test_damaged_files_open_or_give_a_message(tmp_path_factory, cut, junk, at):
    path = tmp_path_factory.getbasetemp() / "damaged.wav"
    path.write_bytes((WAV_TEMPLATE[:at] + junk + WAV_TEMPLATE[at + len(junk) :])[:cut])
    try:
        capture = open_capture(path)
    except SoundFileError as error:
        assert str(path) in str(error)
    else:
        assert capture.read_frames(0, capture.frames).shape == (capture.frames, capture.channels)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(["FLAC", "AIFF", "CAF", "W64"]), st.integers(0, 2000), st.binary(max_size=12))
def test_damaged_library_files_open_or_give_a_message(tmp_path_factory, kind, at, junk):
    path = tmp_path_factory.getbasetemp() / "damaged.bin"
    soundfile.write(path, NOISE[:200], 48_000, format=kind, subtype="PCM_24")
    raw = path.read_bytes()
    path.write_bytes(raw[:at] + junk + raw[at + len(junk) :])
    try:
        capture = open_capture(path)
        capture.read_frames(0, min(capture.frames, 10_000))
    except SoundFileError as error:
        assert str(path) in str(error)


def test_a_rate_that_no_recorder_has_is_refused_in_every_container(tmp_path):
    path = tmp_path / "a.flac"
    soundfile.write(path, np.zeros((1000, 1)), 48_000)
    body = path.read_bytes()
    packed = (1 << 12) | (
        int.from_bytes(body[18:22], "big") & 0xFFF
    )  # the rate is what stands in the top 20 bits
    path.write_bytes(body[:18] + packed.to_bytes(4, "big") + body[22:])
    with pytest.raises(SoundFileError, match="claims 1 channels at 1 Hz"):
        open_capture(path)


def test_a_file_is_hashed_once_while_it_stays_what_it_is(tmp_path, monkeypatch):
    hashed, digest = [], hashlib.file_digest
    monkeypatch.setattr(hashlib, "file_digest", lambda stream, how: hashed.append(how) or digest(stream, how))
    path, later = tmp_path / "a.wav", tmp_path / "later.wav"
    for place, value in ((path, 0.1), (later, 0.2)):
        write_wav(place, np.full(1000, value), rate_hz=48_000, subtype="pcm24", force=False)
    found = [open_capture(path).sha256() for _ in range(3)]
    later.replace(path)  # as long as the one before
    found.append(open_capture(path).sha256())
    assert len(hashed) == 2
    assert (
        found[:3] == [found[0]] * 3 and found[3] == hashlib.sha256(path.read_bytes()).hexdigest() != found[0]
    )
