"""Captures under any name find their settings by what the sound says; margins and loop-back of the session's own."""

import numpy as np
import pytest
import soundfile
from small_session import RATE_HZ, RECIPE

from charprobe.comparing.compare import compare_profiles
from charprobe.files.sound.sound_file import write_wav
from charprobe.publishing.folder import publish
from charprobe.publishing.session_folder import run_session
from charprobe.session.file import parse_session
from charprobe.session.findings import findings_of
from charprobe.session.pairing import pair_captures
from charprobe.session.plan import plan_text
from charprobe.session.run import measure_parts
from charprobe.simulation.devices.chain import Wire
from charprobe.simulation.rig.rig import Rig
from charprobe.simulation.simulate import record_stage
from charprobe.stimulus.recipe import parse_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.errors import ProfileError, SessionError

HEAD = """schema = "charprobe.session/1"
recipe = "short.toml"
pool = "pool"
bypass_take = 0
[device]
name = "A box of wire"
"""
POOLED = (
    HEAD
    + """[[setting]]
name = "plain"
take = 1
[[setting]]
name = "loud"
take = 2
"""
)
LOOP = """schema = "charprobe.session/1"
recipe = "short.toml"
bypass = "pool/{bypass}"
loopback = "pool/{loop}"
[device]
name = "A box of wire"
[[setting]]
name = "loud"
captures = ["pool/b.wav"]
"""
FILES = {"x 17.wav": (0, 0.0), "a.wav": (1, 0.0), "zz é.wav": (1, 0.0), "b.wav": (2, 3.0), "c.wav": (9, 0.0)}


def write_take(path, take, gain_db, seed):
    samples = render(lay_out(parse_recipe(RECIPE, source="short.toml"), rate_hz=RATE_HZ, take=take))
    rig = Rig(delay_samples=900.3, drift_ppm=8.0, noise_dbfs=-105.0, bits=24, lead_s=0.2)
    recorded = record_stage(
        Wire("wire", "nothing"), 10 ** (gain_db / 20) * samples, rig=rig, rate_hz=RATE_HZ, seed=seed
    )
    write_wav(path, np.asarray(recorded).reshape(-1, 1), rate_hz=RATE_HZ, subtype="pcm24", force=True)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shuffled")
    (folder / "short.toml").write_text(RECIPE, encoding="utf-8")
    (folder / "pool").mkdir()
    for seed, (name, (take, gain_db)) in enumerate(FILES.items()):
        write_take(folder / "pool" / name, take, gain_db, seed)
    write_take(folder / "pool" / "loop.wav", 0, 0.0, 98)
    write_take(folder / "pool" / "half a dB.wav", 0, 0.5, 99)
    (folder / "pool" / "notes.wav").write_text("not sound", encoding="utf-8")
    (folder / "pool" / "readme.txt").write_text("not sound", encoding="utf-8")
    return folder


def session_of(folder, text):
    return parse_session(text, path=folder / "s.toml")


def run(session, out):
    return measure_parts(session, out, jobs=1, progress=lambda outcome: None)


def test_renamed_captures_find_their_settings_again(folder, tmp_path):
    pairing = pair_captures(session_of(folder, POOLED))
    names = {s.name: [path.name for path in s.captures] for s in pairing.session.settings}
    assert names == {"plain": ["a.wav", "zz é.wav"], "loud": ["b.wav"]}
    assert pairing.session.bypass.name == "half a dB.wav"  # the first by name; the others are told
    told = " ".join(pairing.notes)
    assert "c.wav says take 9, which no setting has: left out" in told
    assert "notes.wav says no take: left out" in told
    assert "x 17.wav says the bypass's take 0 too" in told
    result = run(pairing.session, tmp_path / "out")
    assert [(p.setting, p.stimulus.take) for p in result.profiles] == [
        ("plain", 1),
        ("plain", 1),
        ("loud", 2),
    ]
    codes = {item.code for profile in result.profiles for item in profile.health}
    assert "wrong-stimulus" not in codes  # a bypass of another take is no mistake
    publish(
        pairing.session,
        result,
        lambda: findings_of(pairing.session, result),
        tmp_path / "out",
        jobs=1,
        looks=("article",),
        notes=pairing.notes,
    )
    methods = (tmp_path / "out" / "methods.md").read_text(encoding="utf-8")
    assert "c.wav says take 9" in methods


def test_the_sound_is_trusted_more_than_the_list(folder):
    text = POOLED.replace("take = 1\n", 'take = 1\ncaptures = ["pool/b.wav"]\n')
    pairing = pair_captures(session_of(folder, text))
    names = {s.name: [path.name for path in s.captures] for s in pairing.session.settings}
    assert names == {"plain": ["a.wav", "zz é.wav"], "loud": ["b.wav"]}
    assert (
        "b.wav is listed under plain, take 1; the sound says 2, which is loud. The sound is trusted"
        in " ".join(pairing.notes)
    )


def test_a_setting_nobody_captured_is_named_and_planned(folder):
    text = POOLED + '[[setting]]\nname = "third"\ntake = 3\n'
    with pytest.raises(SessionError, match="no capture says the take of third"):
        pair_captures(session_of(folder, text))
    plan = plan_text(session_of(folder, text))
    assert "third  ->  take 3, under any name in pool  [to be captured]" in plan


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (POOLED.replace("take = 2", "take = 1"), "two settings have one take number"),
        (POOLED.replace("take = 2", "take = 256"), "a whole number from 0 to 255"),
        (
            POOLED.replace('pool = "pool"\n', ""),
            "`captures` is missing; allowed: 1 to 100 entries; none where .* `pool`",
        ),
        (POOLED + '[[margin]]\nof = "attack.t63"\nsize = 1.0\nreason = "x"\n', "a factor above 1"),
        (POOLED + '[[margin]]\nof = "setting"\nsize = 2.0\nreason = "x"\n', "a quantity that is compared"),
        (LOOP.replace('bypass = "pool/{bypass}"\n', ""), "name that capture as `bypass`"),
    ],
)
def test_a_bad_entry_is_refused_with_what_is_allowed(text, says, folder):
    with pytest.raises(SessionError, match=says):
        session_of(folder, text)


@pytest.mark.parametrize(("bypass", "answer"), [("x 17.wav", "supported"), ("half a dB.wav", "contradicted")])
def test_a_stage_that_is_off_is_set_against_the_loop_back(folder, tmp_path, bypass, answer):
    session = session_of(folder, LOOP.format(bypass=bypass, loop="loop.wav"))
    result = run(session, tmp_path / "out")
    assert [p.setting for p in result.profiles] == ["loud"]
    (claim,) = findings_of(session, result).claims
    assert claim.answer == answer
    assert ("gain +0.50 dB" in claim.because) == (answer == "contradicted")


def test_margins_of_the_session_go_before_the_usual_ones(folder, tmp_path):
    text = POOLED + '[[margin]]\nof = "static.makeup_gain"\nsize = 5\nreason = "gain is set by hand here"\n'
    for number, (own, verdict) in enumerate([(text, "same"), (POOLED, "different")]):
        session = pair_captures(session_of(folder, own)).session
        found = findings_of(session, run(session, tmp_path / f"out {number}")).settings
        item = next(d for d in found.differences if d.name == "static.makeup_gain")
        assert item.verdict == verdict
    assert "gain is set by hand here" not in found.dictionary_csv()


def test_a_copy_is_left_out_of_the_comparison_and_named(folder, tmp_path):
    samples, rate_hz = soundfile.read(folder / "pool" / "a.wav", always_2d=True)
    sound = np.repeat(np.pad(samples, ((960, 0), (0, 0))), 2, axis=1)  # another length, two channels, 32 bits
    soundfile.write(folder / "copy.wav", sound, rate_hz, subtype="PCM_32")
    text = LOOP.format(bypass="x 17.wav", loop="loop.wav").replace(
        "[[setting]]", '[[setting]]\nname = "plain"\ncaptures = ["pool/a.wav", "copy.wav"]\n[[setting]]', 1
    )
    session = session_of(folder, text)
    result = run(session, tmp_path / "out")
    assert len(result.profiles) == 4
    findings = findings_of(session, result)
    assert [note.split(" is the same")[0] for note in findings.copies] == [
        "equals-other-capture: copy.wav, channel 1 (plain)", "equals-other-capture: copy.wav, channel 2 (plain)"
    ]  # fmt: skip
    assert [len(subject.repeats) for subject in findings.settings.subjects] == [1, 1]
    with pytest.raises(ProfileError, match="profiles 1 and 2 are of the same recording"):
        compare_profiles(result.profiles)


def test_nothing_is_written_where_captures_are_looked_for(tmp_path):
    (tmp_path / "pool").mkdir()
    session = parse_session(POOLED, path=tmp_path / "s.toml")
    for folder in (tmp_path / "pool", tmp_path / "pool" / "out"):
        with pytest.raises(SessionError, match="where the session looks for captures"):
            run_session(session, folder)
    assert list((tmp_path / "pool").iterdir()) == []
