import dataclasses
from pathlib import Path

from made_profiles import B, D, made_profile

from charprobe.session.file import Claim, Device, Session, SessionSetting
from charprobe.session.findings import findings_of
from charprobe.session.run import SessionResult


def session_of(*names, claims=()):
    settings = tuple(SessionSetting(name, (Path(f"{name}.wav"),)) for name in names)
    return Session(Path("s.toml"), "t", "quick", Device("d"), None, settings, claims)


def result_of(*profiles):
    return SessionResult(profiles, (), (), measured=len(profiles), kept=0)


def test_settings_meet_on_the_lowest_channel_that_all_have_and_channels_within_their_setting():
    profiles = [made_profile(B, channel=1), made_profile(B, channel=2), made_profile(D, channel=2)]
    findings = findings_of(session_of(B.name, D.name), result_of(*profiles))
    assert [subject.repeats[0].channel for subject in findings.settings.subjects] == [2, 2]
    assert [name for name, _ in findings.channels] == [B.name]
    assert findings.copies == ()
    assert all(line.startswith(B.name) for line in findings.sentences[len(findings.settings.sentences) :])


def test_settings_without_a_channel_in_common_are_not_compared_and_claims_of_them_stay_open():
    claim = Claim("same", (B.name, D.name))
    profiles = made_profile(B, channel=1), made_profile(D, channel=2)
    findings = findings_of(session_of(B.name, D.name, claims=(claim,)), result_of(*profiles))
    assert findings.settings is None
    assert [found.answer for found in findings.claims] == ["not enough evidence"]


def test_a_recording_that_came_twice_is_named_and_left_out():
    one = made_profile(B)
    copy = dataclasses.replace(one, capture=dataclasses.replace(one.capture, file="copy.wav"))
    findings = findings_of(session_of(B.name, D.name), result_of(one, copy, made_profile(D)))
    (text,) = findings.copies
    assert "copy.wav, channel 1" in text
    assert [len(subject.repeats) for subject in findings.settings.subjects] == [1, 1]
