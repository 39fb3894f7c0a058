"""Built-in material through replicas: what is heard is what the model does, and how good it is stands beside."""

import dataclasses
import io

import numpy as np
import pytest
import soundfile
from made_profiles import B, D, made_profile

from charprobe.profile.entry import unmeasured
from charprobe.publishing.listen.replicas import PASSAGE_S, forecast_of, heard_through, replicas_in
from charprobe.publishing.report.page import render_page
from charprobe.replica.model import SCHEMA, SUFFIX, Posterior, Proof, Replica, SourceFile
from charprobe.replica.parts import Cell, Chain

RATE_HZ = 48_000
GOOD = Proof("programme", -62.0, 0.004, 0.999)
GAIN = Replica(
    schema=SCHEMA, setting="loud", channel=1, rate_hz=RATE_HZ, chain=Chain(cell=Cell(makeup_db=6.0)),
    posterior=Posterior(), lowest_dbfs=-60.0, highest_dbfs=0.0, highest_peak_dbfs=0.0, noise_dbfs=-110.0,
    proofs=(GOOD,),
)  # fmt: skip
POOR = dataclasses.replace(GAIN, proofs=(dataclasses.replace(GOOD, residual_db=-12.0, gain_error_db=2.0),))


@pytest.fixture(scope="module")
def material():
    """Material that is quicker made than the built-in."""
    sound = 0.2 * np.random.default_rng(1).normal(size=round(PASSAGE_S * RATE_HZ))
    with pytest.MonkeyPatch.context() as patch:
        for name in ("predict", "replicas"):
            where = "charprobe.replica" if name == "predict" else "charprobe.publishing.listen"
            patch.setattr(f"{where}.{name}.made_up", lambda kind: sound)
        yield


@pytest.fixture(scope="module")
def heard(material):
    return heard_through({"loud": GAIN, "odd": POOR}, ["first", "loud", "odd"])


def test_a_gain_is_heard_as_loud_as_the_dry_sound_and_says_how_good_it_is(heard):
    assert [(track.name, track.series) for track in heard.tracks] == [("dry", None), ("loud", 1), ("odd", 2)]
    dry, loud, _ = (soundfile.read(io.BytesIO(track.code))[0] for track in heard.tracks)
    assert dry.size == round(3 * PASSAGE_S * RATE_HZ)
    np.testing.assert_allclose(loud, dry, atol=4e-4)  # the same but for dither and the reading of loudness
    assert heard.tracks[0].gain_db - heard.tracks[1].gain_db == pytest.approx(6.0, abs=0.01)
    assert heard.notes[0].endswith("62 dB below the sound, the gain is met to 0.004 dB rms")
    assert heard.notes[1].endswith("not close enough to stand for the setting")
    assert heard_through({}, ["first"]) is None


def test_without_a_proof_the_stimulus_says_whether_a_replica_stands(material):
    near, far = (dataclasses.replace(GAIN, proofs=(), unheard_db=level) for level in (-50.0, -20.0))
    heard = heard_through({"loud": near, "odd": far}, ["loud", "odd"])
    assert "its own stimulus the error lies 50 dB below the sound" in heard.notes[0]
    assert heard.notes[1].endswith("20 dB below the sound: not close enough to stand for the setting")
    told = forecast_of({"loud": near, "odd": far}, ["loud", "odd"])
    assert [name for name, _ in told.rows] == ["loud"] and "odd" in told.left_out


def test_what_a_gain_will_do_is_told_and_a_replica_that_does_not_stand_tells_nothing(material):
    told = forecast_of({"loud": GAIN, "odd": POOR}, ["first", "loud", "odd"])
    ((name, row),) = told.rows
    assert name == "loud" and [one.material for one in row] == list(told.materials)
    assert {told.reduction(one) for one in row} == {"none"}
    assert {told.after(one) for one in row} == {"+6.0 LU"}
    assert "odd" in told.left_out
    page = render_page([made_profile(B)], title="x", forecast=told)
    assert "Nothing is told of odd" in page and "+6.0\u00a0LU" in page
    assert forecast_of({}, ["first"]) is None


def test_replicas_belong_to_the_captures_that_the_page_shows(tmp_path):
    first, second = made_profile(B), made_profile(D)
    asked = dataclasses.replace(first, quantities=unmeasured(["replica.residual"], "no programme", "another"))
    own = SourceFile("capture", "x.wav", first.capture.sha256)
    dataclasses.replace(GAIN, sources=(own,)).save(tmp_path / f"a{SUFFIX}")
    dataclasses.replace(GAIN, channel=2, sources=(own,)).save(tmp_path / f"b{SUFFIX}")
    found = replicas_in(tmp_path, [asked, second])
    assert {name: one.channel for name, one in found.items()} == {first.setting: 1}
    assert replicas_in(tmp_path, [first]) == {}  # left from a run whose fit did not end well
