"""The pages of a sitting, and its second pass."""

import json

import pytest

from charprobe.bench import guide, second_pass
from charprobe.publishing import session_folder
from tests.cli.sittings import ASKED, sitting_in


@pytest.fixture
def at(tmp_path, monkeypatch):
    return sitting_in(tmp_path, monkeypatch)


def test_a_whole_sitting_with_both_passes_ends_in_its_pages(at, monkeypatch):
    monkeypatch.setattr(second_pass, "LONGEST_S", 20.0)
    monkeypatch.setattr(guide, "_judged", lambda job, end, patch, jobs: guide.Judged(job, end, (), ()))
    here = session_folder.measure_parts  # other processes would load everything anew
    monkeypatch.setattr(
        session_folder, "measure_parts", lambda *parts, jobs, **how: here(*parts, jobs=1, **how)
    )
    done = at("--no-probe", "--second", "--json", typed=[*ASKED, "yes", *[""] * 40])
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["complete"]
    names = [take["take"] for take in told["takes"]]
    assert names == ["bypass 1", "bypass 2", "voice 1", "voice 2", "bypass 3"]
    pages = [
        at.folder / "published" / "page.html",
        at.folder / "second pass" / "voice" / "published" / "page.html",
    ]
    assert told["pages"] == [str(page) for page in pages]
    assert all(page.is_file() for page in pages)
    again = at("--no-second", "--no-publish", "--json", typed=[])
    assert json.loads(again.stdout)["takes"] == told["takes"]
    assert len(at.sound.streams) == 7
