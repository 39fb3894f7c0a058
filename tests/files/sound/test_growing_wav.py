import os

import numpy as np
import pytest

from charprobe.files.sound.growing_wav import GrowingWav
from charprobe.files.sound.sound_file import open_capture
from charprobe.values.errors import SoundFileError


def test_the_file_reads_at_any_moment_up_to_where_it_was_settled(tmp_path, rng):
    sound = rng.standard_normal((3000, 3)).astype(np.float32)
    with GrowingWav(tmp_path / "take.wav", rate_hz=48_000, channels=3) as file:
        file.append(sound[:1000])
        file.settle()
        file.append(sound[1000:])
        (tmp_path / "crash.wav").write_bytes((tmp_path / "take.wav").read_bytes())
    left = open_capture(tmp_path / "crash.wav")
    assert left.frames >= 1000
    np.testing.assert_array_equal(left.read_frames(0, 1000), sound[:1000])
    np.testing.assert_array_equal(open_capture(tmp_path / "take.wav").read_frames(0, 3000), sound)


def test_a_take_that_exists_is_never_touched(tmp_path):
    (tmp_path / "take.wav").write_text("kept")
    with pytest.raises(SoundFileError, match="cannot be made"):
        GrowingWav(tmp_path / "take.wav", rate_hz=48_000, channels=1)
    assert (tmp_path / "take.wav").read_text() == "kept"


def test_a_full_disk_is_told_with_what_is_kept(tmp_path):
    def fill():
        with GrowingWav(tmp_path / "take.wav", rate_hz=48_000, channels=1) as file:
            full = os.open("/dev/full", os.O_WRONLY)
            os.dup2(full, file.descriptor)
            os.close(full)
            file.append(np.zeros((100_000, 1)))

    with pytest.raises(SoundFileError, match=r"cannot be written on .* kept"):
        fill()
