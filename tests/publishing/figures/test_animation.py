import dataclasses
import json
import shutil
import subprocess

import numpy as np
import pytest
from made_profiles import B, made_profile
from PIL import Image

from charprobe.publishing.figures import animation
from charprobe.values.errors import ProfileError


@pytest.fixture(autouse=True)
def short(monkeypatch):
    monkeypatch.setattr(animation, "LENGTH_S", 0.2)
    monkeypatch.setattr(animation, "REST_S", 0.1)


def test_without_an_encoder_there_are_numbered_pictures_that_differ_and_come_to_rest(tmp_path, monkeypatch):
    monkeypatch.setattr(shutil, "which", lambda name: None)
    paths = animation.animate(made_profile(B), tmp_path / "moving", force=False, looks=("video",))
    walk = [path for path in paths if "static-walk" in str(path)]
    assert [path.name for path in walk] == [f"{n:04d}.png" for n in range(6)]
    assert len(paths) == 12
    shown = [np.asarray(Image.open(path)) for path in walk]
    assert shown[0].shape == (1080, 1920, 3)
    assert not np.array_equal(shown[0], shown[1])
    np.testing.assert_array_equal(shown[-1], shown[-2])


@pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="needs the Debian package ffmpeg")
def test_the_systems_encoder_makes_a_video_of_30_frames_a_second(tmp_path):
    path = animation.animate(made_profile(B), tmp_path / "moving", force=False, looks=("video-dark",))[0]
    asked = ["ffprobe", "-v", "error", "-count_frames", "-show_streams", "-of", "json", str(path)]
    stream = json.loads(subprocess.run(asked, capture_output=True, check=True).stdout)["streams"][0]
    found = (stream["width"], stream["height"], stream["r_frame_rate"], stream["nb_read_frames"])
    assert found == (1920, 1080, "30/1", "6")


def test_what_has_nothing_to_move_says_so(tmp_path):
    bare = dataclasses.replace(made_profile(B), curves={})
    assert animation.moves(made_profile(B)) and not animation.moves(bare)
    with pytest.raises(ProfileError, match="neither a static curve nor a gain trace"):
        animation.animate(bare, tmp_path / "moving", force=False)
