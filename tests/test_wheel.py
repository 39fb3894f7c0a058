"""The wheel carries everything that is read at run time, and runs where nothing else of ours is."""

import sys
import zipfile
from email import message_from_bytes

import pytest
from fresh_environment import PIP, ROOT, FreshEnvironment, source_tree
from small_session import RECIPE

SESSION = """schema = "charprobe.session/1"
title = "One setting"
recipe = "short.toml"
[device]
name = "A box of wire"
[[setting]]
name = "plain"
captures = ["on.wav"]
"""
JOB = [  # reads every kind of data file: recipes, schemas, the page and its style sheet, the listening page
    "recipes",
    "stimulus short.toml --out played.wav",
    "simulate plain-wire played.wav --out on.wav --noise -100",
    "measure on.wav --stimulus played.wav --out profile.json",
    "session s.toml --out published --jobs 1",
    "ab played.wav on.wav --out pair",
    "blind make pair --out pack --key key.json --length 1",
]
ALL_IN_ONE = """
import sys
from charprobe.cli import main
for line in sys.argv[1:]:
    main(line.split(), standalone_mode=False)
"""  # one process, so that what they share is imported once
PLACES = {"charprobe": "charprobe", "stimuli": "charprobe/recipes"}  # in the tree -> in the wheel


@pytest.fixture(scope="module")
def environment(tmp_path_factory):
    return FreshEnvironment(tmp_path_factory.mktemp("fresh"))


@pytest.fixture(scope="module")
def wheel(environment, tmp_path_factory):
    source, built = source_tree(tmp_path_factory.mktemp("source")), tmp_path_factory.mktemp("built")
    environment.run([sys.executable, "-m", "pip", "wheel", *PIP, "-w", built, source], built)
    (wheel,) = built.glob("*.whl")
    return wheel


def test_the_wheel_holds_every_file_of_the_package(wheel):
    held = set(zipfile.ZipFile(wheel).namelist())
    wanted = {
        f"{inside}/{path.relative_to(ROOT / top).as_posix()}"
        for top, inside in PLACES.items()
        for path in (ROOT / top).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    endings = {name.rsplit(".", 1)[-1] for name in wanted}
    assert {"py", "toml", "json", "html", "css", "typed"} <= endings
    assert wanted <= held, sorted(wanted - held)


def test_the_wheel_carries_and_names_its_licence(wheel):
    archive = zipfile.ZipFile(wheel)
    (metadata,) = [name for name in archive.namelist() if name.endswith(".dist-info/METADATA")]
    described = message_from_bytes(archive.read(metadata))
    assert described["License-Expression"] == "MIT"
    text = archive.read(metadata.replace("METADATA", f"licenses/{described['License-File']}"))
    assert text == (ROOT / "docs" / "LICENSE.txt").read_bytes()


def test_the_wheel_does_the_job_in_an_empty_folder(environment, wheel, tmp_path):
    environment.install(wheel)
    (tmp_path / "short.toml").write_text(RECIPE, encoding="utf-8")
    (tmp_path / "s.toml").write_text(SESSION, encoding="utf-8")
    environment.charprobe(*JOB[0].split(), where=tmp_path)
    environment.run([environment.python, "-c", ALL_IN_ONE, *JOB[1:]], tmp_path)
    for made in ("profile.json", "published/page.html", "pack/listen.html"):
        assert (tmp_path / made).stat().st_size > 1000
