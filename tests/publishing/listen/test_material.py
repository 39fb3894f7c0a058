import dataclasses
import io

import numpy as np
import soundfile
from made_profiles import B, made_profile

from charprobe.files.sound.sound_file import open_capture, write_wav
from charprobe.profile.facts import AlignmentFacts, StimulusFacts
from charprobe.publishing.listen.material import PASSAGE_S, heard_in_captures, heard_in_takes
from charprobe.stimulus.kinds.material import generate
from charprobe.stimulus.kinds.programme import PASSAGES
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render

RATE_HZ, LATE = 48_000, 700


def captured(folder, *, polarity):
    """A capture of the standard stimulus that comes late, and its profile."""
    recipe = load_recipe("standard")
    played = render(lay_out(recipe, rate_hz=RATE_HZ, take=1))
    path = folder / "on.wav"
    late = np.concatenate([np.zeros(LATE), 0.5 * polarity * played, np.zeros(LATE)])
    write_wav(path, late, rate_hz=RATE_HZ, subtype="pcm24", force=False)
    profile = made_profile(B)
    sha256 = open_capture(path).sha256()
    profile = dataclasses.replace(
        profile,
        capture=dataclasses.replace(profile.capture, sha256=sha256),
        stimulus=StimulusFacts("standard", recipe.hash, 1, RATE_HZ),
        alignment=AlignmentFacts(float(LATE), 0.0, polarity),
    )
    return profile, {sha256: path}


def test_the_programme_of_a_capture_is_heard_in_step_with_what_was_played(tmp_path, monkeypatch):
    found = []
    monkeypatch.setattr(
        "charprobe.publishing.listen.material.equally_loud", lambda sounds, **_: found.extend(sounds) or ()
    )
    profile, paths = captured(tmp_path, polarity=-1)
    heard_in_captures([profile], paths)
    dry, wet = found
    assert (dry.series, wet.series, wet.name) == (None, 0, "B – slow")
    assert wet.samples.size == round(len(PASSAGES) * PASSAGE_S * RATE_HZ)
    np.testing.assert_allclose(wet.samples, 0.5 * dry.samples, atol=2e-7)  # steps of 24 bits


def test_without_a_programme_nothing_is_heard():
    assert heard_in_captures([made_profile(B)], {}) is None


def test_takes_of_ones_own_are_laid_in_step_with_the_dry_one(tmp_path):
    dry = generate("music", seconds=6.0, rate_hz=RATE_HZ, rng=np.random.default_rng(4))
    write_wav(tmp_path / "dry.wav", dry, rate_hz=RATE_HZ, subtype="pcm24", force=False)
    late = np.concatenate([np.zeros(LATE), 0.5 * dry])
    write_wav(tmp_path / "voice.wav", late, rate_hz=RATE_HZ, subtype="pcm24", force=False)
    heard = heard_in_takes(tmp_path / "dry.wav", {"voice": tmp_path / "voice.wav"}, ["crowd", "voice"])
    assert [(track.name, track.series) for track in heard.tracks] == [("dry", None), ("voice", 1)]
    both = [soundfile.read(io.BytesIO(track.code))[0] for track in heard.tracks]
    np.testing.assert_allclose(
        both[1], both[0], atol=4e-4
    )  # equally loud: the same but for dither and reading
    assert heard_in_takes(tmp_path / "dry.wav", {}, ["crowd"]) is None
