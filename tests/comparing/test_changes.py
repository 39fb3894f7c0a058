import dataclasses

import pytest
from made_profiles import LIMITER, UGLY, B, D, made_profile

from charprobe.comparing.changes import changes_between, load_profiles
from charprobe.values.errors import ProfileError

BEFORE = [made_profile(setting) for setting in (B, D, UGLY)]


def again(setting, **new):
    """The setting captured anew: another file, and whatever changed."""
    profile = made_profile(dataclasses.replace(setting, **new))
    capture = dataclasses.replace(profile.capture, sha256="c" * 64)
    return dataclasses.replace(profile, capture=capture)


def test_only_what_changed_is_told():
    changes = changes_between(BEFORE, [again(B), again(D, release_s=0.5), again(LIMITER)])
    first, second = changes.settings
    assert first.changed == ()
    assert first.sentence.startswith("B – slow, channel 1: no change shown (")
    times = {"release.t50", "release.t63", "release.t90"}
    assert {item.name for item in second.changed} == {*times, "release trace"}
    assert "Release t63 × 1.34 (" in second.sentence  # 0.5 s over 0.372 s
    assert changes.only_after == ("Limiter, channel 1",)
    assert len(changes.only_before) == 1
    assert changes.csv().count("D – slower") == 4
    assert "B – slow" not in changes.csv()


def test_sessions_without_a_common_setting_say_how_they_are_paired():
    with pytest.raises(ProfileError, match="paired by name and channel"):
        changes_between(BEFORE, [again(LIMITER)])


def test_a_recording_in_both_sessions_is_refused():
    with pytest.raises(ProfileError, match="is in both sessions"):
        changes_between(BEFORE, [again(D), made_profile(B)])


def test_changes_are_read_from_and_written_to_folders(tmp_path):
    for name, profiles in (("old", BEFORE), ("new", [again(B, makeup_db=4.0)])):
        (tmp_path / name / "profiles").mkdir(parents=True)
        for number, profile in enumerate(profiles):
            profile.save(tmp_path / name / "profiles" / f"{number}.json", force=False)
    changes = changes_between(load_profiles(tmp_path / "old"), load_profiles(tmp_path / "new"))
    paths = changes.save(tmp_path / "out", force=False)
    assert "Make-up gain +1.00 dB ± " in paths[1].read_text(encoding="utf-8")
    with pytest.raises(ProfileError, match="no profiles here"):
        load_profiles(tmp_path / "out")
