import json

import pytest

from charprobe.bench.takes import TakeFolder
from charprobe.values.errors import OutputError


def test_takes_are_kept_set_aside_and_rescued_but_never_lost(tmp_path):
    folder, goal = TakeFolder(tmp_path), tmp_path / "captures" / "voice 1.wav"
    for text in ("first", "second", "third"):
        folder.coming(goal).write_text(text)
        if text == "first":
            folder.keep(folder.coming(goal), goal)
        elif text == "second":
            folder.set_aside(folder.coming(goal), "rejected")
    assert [path.read_text() for path in folder.rescue()] == ["third"]
    assert folder.rescue() == ()
    assert {path.read_text() for path in tmp_path.rglob("*.wav")} == {"first", "second", "third"}


def test_a_kept_take_is_not_replaced(tmp_path):
    folder, goal = TakeFolder(tmp_path), tmp_path / "voice 1.wav"
    goal.write_text("kept")
    folder.coming(goal).write_text("new")
    with pytest.raises(OutputError, match="stays"):
        folder.keep(folder.coming(goal), goal)
    assert goal.read_text() == "kept"


def test_the_log_grows_line_by_line(tmp_path):
    for number in range(3):
        TakeFolder(tmp_path).log({"take": number})
    rows = [json.loads(line) for line in (tmp_path / "takes.jsonl").read_text().splitlines()]
    assert [row["take"] for row in rows] == [0, 1, 2]


def test_a_folder_that_takes_no_files_is_told_and_the_take_stays_where_it_is(tmp_path, locked_folder):
    coming = tmp_path / "take.wav"
    coming.write_text("sound")
    tmp_path.chmod(0o777)
    with locked_folder() as folder:
        for act in (
            lambda: TakeFolder(folder).coming(tmp_path / "a.wav"),
            lambda: TakeFolder(folder).log({}),
            lambda: TakeFolder(tmp_path).keep(coming, folder / "captures" / "voice 1.wav"),
        ):
            with pytest.raises(OutputError, match="cannot be written"):
                act()
    assert coming.read_text() == "sound"


def test_a_folder_that_was_moved_meanwhile_is_told(tmp_path):
    folder = TakeFolder(tmp_path / "session")
    folder.folder.mkdir()
    coming = folder.coming(tmp_path / "session" / "voice 1.wav")
    coming.write_text("sound")
    folder.folder.rename(tmp_path / "moved")
    with pytest.raises(OutputError, match="moved"):
        folder.set_aside(coming, "rejected")
    with pytest.raises(OutputError, match="moved"):
        folder.keep(coming, tmp_path / "session" / "captures" / "voice 1.wav")
    assert (tmp_path / "moved" / "coming in" / "voice 1.wav").read_text() == "sound"
