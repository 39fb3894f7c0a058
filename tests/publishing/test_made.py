import os

import pytest

from charprobe.publishing.made import Made, key_of


@pytest.fixture
def made(tmp_path):
    (tmp_path / "figures").mkdir()
    paths = [tmp_path / "page.html", tmp_path / "figures" / "a curve.svg"]
    for path in paths:
        path.write_text("drawn", encoding="utf-8")
    stamped = Made(tmp_path / ".made.key", key_of("shown", 1))
    assert stamped.there() is None
    assert stamped.keep(paths) == tuple(paths)
    return stamped


def test_what_was_made_from_the_same_is_there(made, tmp_path):
    assert Made(made.stamp, key_of("shown", 1)).there() == (
        tmp_path / "page.html",
        tmp_path / "figures" / "a curve.svg",
    )


def test_what_shows_something_else_is_not(made):
    assert Made(made.stamp, key_of("shown", 2)).there() is None


def test_another_version_shows_it_anew(made, monkeypatch):
    monkeypatch.setattr("charprobe.publishing.made.__version__", "0.0.0")
    assert Made(made.stamp, key_of("shown", 1)).there() is None


@pytest.mark.parametrize("change", ["gone", "other size", "other time", "stamp cut off"])
def test_what_somebody_touched_is_made_again(made, tmp_path, change):
    page = tmp_path / "page.html"
    if change == "gone":
        page.unlink()
    elif change == "other size":
        page.write_text("drawn over", encoding="utf-8")
    elif change == "other time":
        os.utime(page, ns=(1, 1))
    else:
        made.stamp.write_text(made.key + "\n12", encoding="utf-8")
    assert made.there() is None
