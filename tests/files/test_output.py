import errno
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from needs import need

from charprobe.files import output
from charprobe.files.output import (
    check_space,
    check_writable,
    prepare_folder,
    safe_file_name,
    write_bytes,
    write_text,
    write_with,
)
from charprobe.files.sound.flac import flac_bytes
from charprobe.files.sound.growing_wav import GrowingWav
from charprobe.files.sound.sound_file import write_wav
from charprobe.values.errors import OutputError


def test_a_new_file_appears_whole_with_the_usual_rights(tmp_path):
    path = tmp_path / "a.txt"
    write_text(path, "Größe\n", force=False)
    assert path.read_bytes() == "Größe\n".encode()
    plain = tmp_path / "plain"
    plain.touch()
    assert path.stat().st_mode == plain.stat().st_mode
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.txt", "plain"]


def test_an_existing_file_is_kept_unless_forced(tmp_path):
    path = tmp_path / "a"
    write_bytes(path, b"old", force=False)
    for attempt in (
        lambda: write_bytes(path, b"new", force=False),
        lambda: check_writable(path, force=False),
    ):
        with pytest.raises(OutputError, match=r"already exists; kept as it is.*--force"):
            attempt()
    assert path.read_bytes() == b"old"
    check_writable(path, force=True)
    assert path.read_bytes() == b"old"
    write_bytes(path, b"new", force=True)
    assert path.read_bytes() == b"new"


def test_a_file_that_someone_else_creates_meanwhile_is_kept(tmp_path):
    path = tmp_path / "a"

    def slow(stream):
        stream.write(b"mine")
        path.write_bytes(b"theirs")

    with pytest.raises(OutputError, match="was created by someone else meanwhile; kept"):
        write_with(path, slow, force=False)
    assert path.read_bytes() == b"theirs"
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.parametrize("stop", [KeyboardInterrupt, ZeroDivisionError])
def test_an_interrupted_writer_leaves_the_old_file_alone(tmp_path, stop):
    path = tmp_path / "a"
    path.write_bytes(b"old")

    def interrupted(stream):
        stream.write(b"half")
        raise stop

    with pytest.raises(stop):
        write_with(path, interrupted, force=True)
    assert [p.read_bytes() for p in tmp_path.iterdir()] == [b"old"]


@pytest.mark.parametrize(
    ("number", "message"),
    [
        (errno.ENOSPC, "the disk is full: make room"),
        (errno.EROFS, r"cannot write here \(read-only\): choose another folder with --out"),
        (errno.EIO, "cannot be written"),
    ],
)
def test_what_the_system_refuses_is_told_and_nothing_is_left(tmp_path, number, message):
    path = tmp_path / "a"
    path.write_bytes(b"old")

    def failing(stream):
        stream.write(b"half")
        raise OSError(number, os.strerror(number))

    with pytest.raises(OutputError, match=message + ".*what was there before is unchanged"):
        write_with(path, failing, force=True)
    assert [p.read_bytes() for p in tmp_path.iterdir()] == [b"old"]


def test_a_really_full_disk(tmp_path):
    full = Path("/dev/full")
    if not full.exists():
        need(str(full), why="a device of Linux")

    def spill(stream):
        with full.open("wb", buffering=0) as target:
            target.write(b"x")

    with pytest.raises(OutputError, match="the disk is full"):
        write_with(tmp_path / "a", spill, force=False)
    assert list(tmp_path.iterdir()) == []


def test_places_that_cannot_take_a_file(tmp_path):
    with pytest.raises(OutputError, match="no such folder: create it"):
        check_writable(tmp_path / "none" / "a", force=False)
    with pytest.raises(OutputError, match="is a folder, a file name is needed"):
        check_writable(tmp_path, force=True)
    with pytest.raises(OutputError, match="the name is too long for this disk"):
        write_bytes(tmp_path / ("n" * 300), b"", force=False)
    with pytest.raises(OutputError, match="is not an ordinary file"):
        check_writable(Path("/dev/null"), force=True)


def test_a_read_only_folder_is_noticed_before_work_starts(tmp_path, monkeypatch):
    def refuse(*_, **__):
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(output, "_open_part", refuse)  # an administrator may write anywhere
    with pytest.raises(OutputError, match="cannot write here"):
        check_writable(tmp_path / "a", force=False)
    with pytest.raises(OutputError, match="cannot write here"):
        prepare_folder(tmp_path / "new")


def test_a_linked_file_is_replaced_where_it_lies(tmp_path):
    real, link = tmp_path / "real", tmp_path / "link"
    real.write_bytes(b"old")
    link.symlink_to(real)
    write_bytes(link, b"new", force=True)
    assert link.is_symlink()
    assert real.read_bytes() == b"new"


def test_without_hard_links_nothing_is_overwritten_either(tmp_path, monkeypatch):
    def no_links(*_, **__):
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "link", no_links)
    write_bytes(tmp_path / "a", b"1", force=False)

    def meanwhile(stream):
        (tmp_path / "b").write_bytes(b"theirs")

    with pytest.raises(OutputError, match="already exists"):
        write_with(tmp_path / "b", meanwhile, force=False)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a": b"1", "b": b"theirs"}


def test_space_and_folders(tmp_path):
    check_space(tmp_path, needed_bytes=1)
    with pytest.raises(OutputError, match=r"needs 1000000000\.0 GB, .* free: make room"):
        check_space(tmp_path, needed_bytes=10**18)
    prepare_folder(tmp_path / "new")
    prepare_folder(tmp_path / "new")
    assert list((tmp_path / "new").iterdir()) == []
    with pytest.raises(OutputError, match="its parent folder does not exist"):
        prepare_folder(tmp_path / "x" / "y")
    (tmp_path / "file").touch()
    with pytest.raises(OutputError, match="is a file, a folder is needed"):
        prepare_folder(tmp_path / "file")


WRITER = """
import sys
from pathlib import Path
from charprobe.files.output import write_with
def fill(stream):
    for _ in range(64):
        stream.write(letter * 65536)
        stream.flush()
path = Path(sys.argv[1])
print("ready", flush=True)
while True:
    for letter in (b"a", b"b"):
        write_with(path, fill, force=True)
"""


def test_kill_9_at_any_moment_leaves_one_whole_file(tmp_path):
    path = tmp_path / "a"
    path.write_bytes(b"old" * 1000)
    whole = {b"old" * 1000, b"a" * 65536 * 64, b"b" * 65536 * 64}
    for wait_s in (0.0, 0.003, 0.011, 0.027, 0.05, 0.08):
        with subprocess.Popen([sys.executable, "-c", WRITER, path], stdout=subprocess.PIPE) as writer:
            assert writer.stdout.readline() == b"ready\n"
            time.sleep(wait_s)
            writer.send_signal(signal.SIGKILL)
        assert path.read_bytes() in whole
    check_writable(path, force=True)
    assert list(tmp_path.iterdir()) == [path], "what a killed run left is cleared away by the next"


def test_a_part_that_is_being_written_is_left_alone_and_room_is_asked_for(tmp_path, monkeypatch):
    def write(stream):
        check_writable(tmp_path / "other", force=False)
        stream.write(b"whole")

    write_with(tmp_path / "a", write, force=False)
    assert (tmp_path / "a").read_bytes() == b"whole"
    monkeypatch.setattr(output, "LEAST_FREE_BYTES", 10**18)
    with pytest.raises(OutputError, match="make room or choose another folder"):
        check_writable(tmp_path / "b", force=False)
    assert [path.name for path in tmp_path.iterdir()] == ["a"]


@pytest.mark.parametrize(
    ("name", "start"),
    [
        ("Vocal 2", "Vocal 2"),
        ("Größe", "Größe"),
        ("../../etc/passwd", "etc_passwd-"),
        ("-rf", "rf-"),
        ('a/b\\c:d*e?f"g<h>i|j', "a_b_c_d_e_f_g_h_i_j-"),
        ("line\nbreak", "line_break-"),
        ("", "unnamed-"),
        ("...", "unnamed-"),
        ("CON", "xCON-"),
        ("nul.json", "xnul.json-"),
        ("ends with dot.", "ends with dot-"),
        ("$x_%y", "x__y-"),
    ],
)
def test_names_of_settings_become_file_names(name, start):
    found = safe_file_name(name)
    assert found == start if not start.endswith("-") else found.startswith(start)


def test_names_that_differ_get_names_that_differ():
    names = ["a/b", "a_b", "a:b", "a\nb", "é", "e\u0301"]
    assert len({safe_file_name(name) for name in names}) == len(names)


@given(st.text(max_size=300))
def test_any_text_becomes_one_harmless_path_part(name):
    found = safe_file_name(name)
    assert 0 < len(found.encode()) <= 100
    assert found not in (".", "..")
    assert not found.startswith(("-", "."))
    assert not set(found) & set('/\\:*?"<>|\0\n$%')
    assert Path(found).name == found


def test_a_finished_part_is_not_cleared_away_before_it_has_its_name(tmp_path, monkeypatch):
    """As where many processes draw into one folder: another one begins at the worst moment."""
    named = output._take_name

    def late(part, path, *, force):
        output.prepare_folder(tmp_path)
        named(part, path, force=force)

    monkeypatch.setattr(output, "_take_name", late)
    output.write_text(tmp_path / "page.html", "whole", force=True)
    assert [path.read_text() for path in tmp_path.iterdir()] == ["whole"]


def test_a_part_that_is_looked_at_before_it_is_held_is_made_anew(tmp_path, monkeypatch):
    asked, real = [], output.hold

    def hold(descriptor):
        asked.append(descriptor)
        return len(asked) > 2 and real(descriptor)

    monkeypatch.setattr(output, "hold", hold)
    output.write_text(tmp_path / "page.html", "whole", force=True)
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]
    monkeypatch.setattr(output, "hold", lambda descriptor: False)  # a disk that knows no holding
    output.write_text(tmp_path / "page.html", "again", force=True)
    assert (tmp_path / "page.html").read_text() == "again"


@pytest.mark.parametrize("name", ["heard.mp3", "heard", "heard.wav.flac"])
def test_a_wav_is_never_written_under_a_name_that_says_otherwise(tmp_path, name):
    with pytest.raises(OutputError, match=f"{name}: will hold a WAV: choose a name that ends in .wav"):
        check_writable(tmp_path / name, force=True, sound=True)


def test_sound_is_replaced_only_where_it_says_that_we_wrote_it(tmp_path):
    take, made = tmp_path / "take.wav", tmp_path / "made.wav"
    with GrowingWav(take, rate_hz=48_000, channels=1) as growing:
        growing.append(np.zeros((100, 1)))
    write_wav(made, np.zeros(100), rate_hz=48_000, subtype="pcm24", force=False)
    soundfile.write(tmp_path / "theirs.flac", np.zeros(100), 48_000)
    code = flac_bytes(np.zeros(100), rate_hz=48_000, rng=np.random.default_rng(1))
    check_writable(made, force=True, sound=True)
    for force in (False, True):
        write_bytes(tmp_path / "ours.flac", code, force=force, sound=True)
    for name in ("take.wav", "theirs.flac"):
        before = (tmp_path / name).read_bytes()
        with pytest.raises(OutputError, match=r"did not write, perhaps a take .* Kept as it is"):
            write_wav(tmp_path / name, np.zeros(9), rate_hz=48_000, subtype="pcm24", force=True)
        assert (tmp_path / name).read_bytes() == before
