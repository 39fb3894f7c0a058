import errno

import pytest

from charprobe.files.sound.sound_path import kind_of, opened, size_of
from charprobe.values.errors import SoundFileError


def test_size_and_kind_of_a_good_file(tmp_path):
    path = tmp_path / "a"
    path.write_bytes(b"RIFF\0\0\0\0WAVE")
    assert size_of(path) == 12
    assert kind_of(path).name == "WAV"


def test_a_kind_that_cannot_be_read_names_those_that_can(tmp_path):
    path = tmp_path / "song.wav"
    path.write_bytes(b"ID3\4" + bytes(30))
    with pytest.raises(SoundFileError, match=r"MP3 file: .* Accepted are WAV .* FLAC, AIFF, CAF and W64"):
        kind_of(path)


@pytest.mark.parametrize(
    ("error", "message"),
    [
        (PermissionError(errno.EACCES, "Permission denied"), "may not be read: allow reading it"),
        (OSError(errno.EIO, "Input/output error"), r"cannot be read \(Input/output error\): check the disk"),
    ],
)
def test_what_the_system_objects_to_is_told(tmp_path, monkeypatch, error, message):
    path = tmp_path / "a"
    path.write_bytes(b"x")

    def refuse(*_, **__):
        raise error

    monkeypatch.setattr(type(path), "open", refuse)
    with pytest.raises(SoundFileError, match=message), opened(path):
        pass


def test_an_error_while_reading_is_told_too(tmp_path):
    path = tmp_path / "a"
    path.write_bytes(b"x")
    with pytest.raises(SoundFileError, match="cannot be read"), opened(path):
        raise OSError(errno.EIO, "Input/output error")
