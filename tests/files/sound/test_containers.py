import pytest
from hypothesis import given
from hypothesis import strategies as st

from charprobe.files.sound.containers import container_of


@pytest.mark.parametrize(
    ("head", "name", "reader"),
    [
        (b"RIFF\0\0\0\0WAVEfmt ", "WAV", "wav"),
        (b"RF64\xff\xff\xff\xffWAVEds64", "RF64", "wav"),
        (b"BW64\xff\xff\xff\xffWAVEds64", "BW64", "wav"),
        (b"fLaC\0", "FLAC", "library"),
        (b"FORM\0\0\0\0AIFFCOMM", "AIFF", "library"),
        (b"FORM\0\0\0\0AIFCFVER", "AIFF-C", "library"),
        (b"caff\0\1", "CAF", "library"),
        (b"RIFF\0\0\0\0AVI LIST", "AVI", "none"),
        (b"\0\0\0\x20ftypM4A ", "MP4, M4A or MOV", "none"),
        (b"OggS\0\2", "Ogg", "none"),
        (b"ID3\4\0", "MP3", "none"),
        (b"\xff\xfb\x90\x64", "MP3", "none"),
        (b"\xff\xf1\x50\x80", "AAC stream", "none"),
        (b"\x1a\x45\xdf\xa3", "Matroska or WebM", "none"),
        (b'{"schema": "x"}', "text", "none"),
        (b"\0" * 64, "unknown", "none"),
        (b"", "unknown", "none"),
    ],
)
def test_the_first_bytes_name_the_container(head, name, reader):
    container = container_of(head)
    assert (container.name, container.reader) == (name, reader)
    assert bool(container.why) == (reader == "none")


@given(st.binary(max_size=64))
def test_any_bytes_have_some_kind(head):
    assert container_of(head).reader in ("wav", "library", "none")
