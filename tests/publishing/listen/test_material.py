import dataclasses

import numpy as np
from made_profiles import B, made_profile

from charprobe.files.sound.sound_file import open_capture, write_wav
from charprobe.profile.facts import AlignmentFacts, StimulusFacts
from charprobe.publishing.listen.material import PASSAGE_S, heard_in_captures
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
        "charprobe.publishing.listen.material.equally_loud", lambda sounds, **_: found.extend(sounds)
    )
    profile, paths = captured(tmp_path, polarity=-1)
    heard_in_captures([profile], paths)
    dry, wet = found
    assert (dry.series, wet.series, wet.name) == (None, 0, "B – slow")
    assert wet.samples.size == round(len(PASSAGES) * PASSAGE_S * RATE_HZ)
    np.testing.assert_allclose(wet.samples, 0.5 * dry.samples, atol=2e-7)  # steps of 24 bits


def test_without_a_programme_nothing_is_heard_unless_something_stands_in():
    assert heard_in_captures([made_profile(B)], {}) is None
