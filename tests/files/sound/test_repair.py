import numpy as np
import pytest
import soundfile

from charprobe.files.sound.repair import write_repaired_copy
from charprobe.files.sound.sound_file import open_capture, write_wav
from charprobe.values.errors import OutputError, SoundFileError

NOISE = np.random.default_rng(4).uniform(-1, 1, (2000, 2))


def unfinished(tmp_path, *, promised=0):
    path = tmp_path / "broken.wav"
    write_wav(path, NOISE, rate_hz=48_000, subtype="pcm24", force=True)
    raw = bytearray(path.read_bytes())
    at = raw.index(b"data") + 4
    raw[at : at + 4] = promised.to_bytes(4, "little")
    path.write_bytes(raw)
    return path


@pytest.mark.parametrize("promised", [0, 0xFFFFFFFF, 13_000])
def test_the_copy_holds_every_sample_and_the_original_is_untouched(tmp_path, promised):
    path = unfinished(tmp_path, promised=promised)
    before = path.read_bytes()
    layout = write_repaired_copy(path, tmp_path / "whole.wav", force=False)
    assert layout.frames == 2000
    assert path.read_bytes() == before
    assert open_capture(tmp_path / "whole.wav").facts.length == "as written"
    assert np.array_equal(soundfile.read(tmp_path / "whole.wav")[0], np.rint(NOISE * 2**23) / 2**23)


def test_nothing_to_repair_wrong_kind_and_same_file(tmp_path):
    path = unfinished(tmp_path)
    with pytest.raises(SoundFileError, match="is the damaged file itself"):
        write_repaired_copy(path, path, force=True)
    write_repaired_copy(path, tmp_path / "whole.wav", force=False)
    with pytest.raises(OutputError, match="already exists"):
        write_repaired_copy(path, tmp_path / "whole.wav", force=False)
    with pytest.raises(SoundFileError, match="nothing to repair"):
        write_repaired_copy(tmp_path / "whole.wav", tmp_path / "c.wav", force=False)
    soundfile.write(tmp_path / "a.flac", NOISE, 48_000)
    with pytest.raises(SoundFileError, match="only WAV files can be repaired"):
        write_repaired_copy(tmp_path / "a.flac", tmp_path / "c.wav", force=False)
