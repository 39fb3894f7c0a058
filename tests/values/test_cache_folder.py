"""What can be made again is kept in the user's cache, and never missed."""

import pytest

from charprobe.values import cache_folder
from charprobe.values.cache_folder import keep_bytes, kept_bytes, writable_cache


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setattr(cache_folder, "user_cache_path", lambda *_, **__: tmp_path / "cache" / "0.1.0")
    writable_cache.cache_clear()
    yield
    writable_cache.cache_clear()


def test_what_was_kept_is_there_again_under_its_name_alone():
    keep_bytes("a.levels", b"one", most=2)
    assert (kept_bytes("a.levels"), kept_bytes("b.levels")) == (b"one", b"")


def test_only_so_many_of_an_ending_are_kept():
    for number in range(4):
        keep_bytes(f"{number}.levels", b"x", most=2)
    keep_bytes("other", b"x", most=2)
    assert len(list(writable_cache().glob("*.levels"))) == 2
    assert kept_bytes("other") == b"x"


def test_where_nothing_can_be_written_nothing_is_kept_and_nothing_fails(tmp_path):
    (tmp_path / "cache").write_text("a file stands in the way")
    keep_bytes("a.levels", b"one", most=2)
    assert writable_cache() is None and kept_bytes("a.levels") == b""
