import json

import numpy as np
import pytest
import soundfile
from commands import good, refused, run

from charprobe.profile.profile import load_profile
from charprobe.simulation.devices.catalogue import make_stage


def test_stages_print_their_truth():
    assert "smooth-gain-hard" in good("stages").stdout
    rows = json.loads(good("stages", "--json").stdout)
    assert len(rows) >= 8 and all(row["name"] for row in rows)


def test_faults_are_listed_and_added_in_the_size_asked_for(bench, tmp_path):
    listed = good("stages", "--faults").stdout
    assert "gain-step" in listed and "-40 to 40 dB, typically 1.4" in listed
    assert {row["name"] for row in json.loads(good("stages", "--faults", "--json").stdout)} > {"two-paths"}
    out = tmp_path / "faulty.wav"
    rig = ("--noise", -110, "--lead", 0.4, "--tail", 0.3)  # half of it is inside a tone
    good("simulate", "plain-wire", bench / "s.wav", "--out", out, *rig, "--fault", "gain-step=-0.8")
    verdict = run("check", out)
    assert "Gain steps −0.80 dB" in " ".join(verdict.stdout.split())


def test_each_take_has_noise_of_its_own_and_the_same_command_the_same(tmp_path):
    played, takes = tmp_path / "s.wav", []
    soundfile.write(played, np.full(480, 0.1), 48_000)
    for stage, name, *seed in (
        ("plain-wire", "off"), ("smooth-gain-hard", "off"), ("plain-wire", "again"), ("plain-wire", "off"),
        ("plain-wire", "one", "--seed", 1), ("plain-wire", "other", "--seed", 1),
    ):  # fmt: skip
        out = tmp_path / f"{name}.wav"
        good("simulate", stage, played, "--out", out, "--noise", -60, "--force", *seed)
        samples, _ = soundfile.read(out)
        takes.append(samples - np.mean(samples))
    off, setting, again, off_again, one, other = takes
    assert np.array_equal(off, off_again) and np.array_equal(one, other)
    # of 480 independent values: four standard deviations of a correlation
    assert all(abs(np.corrcoef(off, each)[0, 1]) < 4 / np.sqrt(480) for each in (setting, again, one))


@pytest.mark.parametrize(
    ("fault", "code", "says"),
    [
        ("gremlins", 1, "there are: added-silence"),
        ("gain-step=200", 1, "it has -40 to 40 dB"),
        ("gain-step=loud", 2, "write NAME, NAME=SIZE or NAME=SIZE@MS"),
        ("misplaced-bits", 1, "leave out --bits"),
    ],
)
def test_faults_that_cannot_be_are_refused_with_a_reason(bench, tmp_path, fault, code, says):
    out = tmp_path / "faulty.wav"
    refused(
        run("simulate", "plain-wire", bench / "s.wav", "--out", out, "--bits", 24, "--fault", fault),
        code=code,
        says=says,
    )
    assert not out.exists()


def test_a_pair_goes_through_both_channels(tmp_path):
    stimulus, capture, profile = tmp_path / "pair.wav", tmp_path / "out.wav", tmp_path / "pair.json"
    told = good("stimulus", "link", "--out", stimulus)
    assert "2 channels, one for each side" in told.stdout
    assert soundfile.info(stimulus).channels == 2
    good("simulate", "linked-pair", stimulus, "--out", capture, "--bits", 24, "--noise", -110)
    assert soundfile.info(capture).channels == 2
    for channel in (1, 2):
        good("measure", capture, "--channel", channel, "--out", profile, "--force")
        found = load_profile(profile).quantities["detector.link"].reading
        assert (
            found.low - 0.002 <= make_stage("linked-pair").truth["detector.link"].value <= found.high + 0.002
        )
        assert not [item for item in load_profile(profile).health if item.severity == "stop"]
