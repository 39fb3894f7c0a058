"""Installing from a clone works in every order, whatever was run in between."""

import numpy as np
from fresh_environment import FreshEnvironment, source_tree

import charprobe
from charprobe.files.sound.sound_file import write_wav


def test_each_way_of_installing_replaces_the_other(tmp_path):
    environment = FreshEnvironment(tmp_path)
    clone, desk = tmp_path / "clone", tmp_path / "desk"
    clone.mkdir()
    desk.mkdir()
    source_tree(clone)
    write_wav(desk / "in.wav", np.full((480, 1), 0.1), rate_hz=48_000, subtype="float32", force=False)
    for number, way in enumerate(([clone], ["-e", clone], [clone])):
        environment.install(*way)
        environment.charprobe("simulate", "plain-wire", "in.wav", "--out", f"{number}.wav", where=desk)
        assert environment.charprobe("--version", where=desk).split()[-1] == charprobe.__version__
    assert list(environment.cache.rglob("*.nbi")), "no loop was compiled: this shows nothing"
    assert not list(environment.packages.rglob("*.nb?"))
    assert not list(clone.rglob("*.nb?"))
