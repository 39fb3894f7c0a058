import csv
import json
import re
from dataclasses import replace
from urllib.parse import unquote

import pytest
from small_session import RATE_HZ, RECIPE, SESSION, write_capture

from charprobe.files.sound.sound_file import write_wav
from charprobe.publishing.folder import publish
from charprobe.session import run as run_file
from charprobe.session.file import load_session
from charprobe.session.findings import findings_of
from charprobe.session.plan import plan_text
from charprobe.session.run import _shared_out, measure_parts
from charprobe.values.errors import SessionError


def run(folder, out):
    return measure_parts(load_session(folder / "s.toml"), out, jobs=1, progress=lambda outcome: None)


def test_every_channel_of_every_capture_is_measured_once_and_published(captured, tmp_path):
    session = load_session(captured / "s.toml")
    result = run(captured, tmp_path / "out")
    assert (result.measured, result.kept, result.failures) == (6, 0, ())
    assert [(p.setting, p.channel) for p in result.profiles] == [("plain", 1), ("plain", 2)] * 2 + [
        ("loud = 3", 1),
        ("loud = 3", 2),
    ]
    findings = findings_of(session, result)
    gain = next(d for d in findings.settings.differences if d.name == "static.makeup_gain")
    assert gain.gap.value == pytest.approx(
        3.0, abs=0.01
    )  # the capture was turned up by 3 dB; goal of make-up gain
    assert [claim.answer for claim in findings.claims] == ["supported"]
    assert [name for name, _ in findings.channels] == ["plain", "loud = 3"]

    first = {
        path: path.read_bytes()
        for path in publish(session, result, lambda: findings, tmp_path / "out", jobs=1, looks=("article",))
    }
    assert (tmp_path / "out" / "page.html") in first
    assert all(path.is_file() for path in first)
    page = (tmp_path / "out" / "page.html").read_text(encoding="utf-8")
    linked = [unquote(name) for name in re.findall(r'href="\./([^"]+)"', page)]
    assert "tables/settings/values.csv" in linked
    assert all((tmp_path / "out" / name).is_file() for name in linked)
    with (tmp_path / "out" / "tables" / "captures.csv").open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["SHA-256"] for row in rows] == [profile.capture.sha256 for profile in result.profiles]
    methods = (tmp_path / "out" / "methods.md").read_text(encoding="utf-8")
    assert "| serial number | unknown |" in methods

    again = run(captured, tmp_path / "out")
    assert (again.measured, again.kept) == (0, 6)
    times = {path: path.stat().st_mtime_ns for path in first}

    def publish_again():
        found = findings_of(session, again)
        publish(session, again, lambda: found, tmp_path / "out", jobs=1, looks=("article",))
        return {path: path.stat().st_mtime_ns for path in first}

    assert publish_again() == times  # nothing shows anything new
    stamps = [".published.key", "figures/.overlays.key", "figures/.loud = 3-ch1.key"]
    for stamp in stamps:
        (tmp_path / "out" / stamp).unlink()
    later = publish_again()
    redone = {path for path in first if later[path] != times[path]}
    assert {path.name for path in redone} >= {"page.html", "captures.csv", "loud = 3-ch1-static-article.svg"}
    assert not any(path.name.startswith("plain") for path in redone)
    assert {path: path.read_bytes() for path in first} == first  # byte for byte


@pytest.mark.parametrize(
    ("captures", "jobs", "shares"),
    [
        ([8], 2, [4, 4]),
        ([8], 3, [3, 3, 2]),
        ([2], 8, [1, 1]),
        ([8, 8], 2, [8, 8]),  # as many captures as processes
        ([4, 4, 4], 2, [4, 4, 2, 2]),
        ([4], 1, [4]),
        ([], 2, []),
    ],
)
def test_the_channels_of_captures_that_do_not_go_round_are_shared_out(captures, jobs, shares):
    waiting = [[(f"{number} {channel}", "") for channel in range(own)] for number, own in enumerate(captures)]
    shared = _shared_out(waiting, jobs)
    assert [len(one) for one in shared] == shares
    assert [part for one in shared for part in one] == [part for one in waiting for part in one]


def one_capture(captured):
    session = load_session(captured / "s.toml")
    return replace(session, settings=(replace(session.settings[1], name="alone"),))


def test_two_processes_share_one_capture_and_find_what_one_finds(captured, tmp_path):
    for jobs in (1, 2):
        measure_parts(one_capture(captured), tmp_path / f"{jobs}", jobs=jobs, progress=lambda outcome: None)
    profiles = {path.name: path.read_bytes() for path in (tmp_path / "1" / "profiles").glob("*.json")}
    assert len(profiles) == 2
    assert profiles == {path.name: path.read_bytes() for path in (tmp_path / "2" / "profiles").glob("*.json")}


def test_a_run_that_was_cut_short_goes_on_where_it_stopped(captured, tmp_path):
    def cut(outcome):
        if outcome.part.name == "plain-take1-ch2":
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        measure_parts(load_session(captured / "s.toml"), tmp_path / "out", jobs=1, progress=cut)
    result = run(captured, tmp_path / "out")
    assert 2 <= result.kept < 6
    assert result.measured + result.kept == 6


def test_replicas_are_fitted_once_all_is_measured_and_nothing_measured_is_lost_to_them(
    captured, tmp_path, monkeypatch
):
    write_capture(tmp_path / "off.wav", 7, 0)
    session = replace(load_session(captured / "s.toml"), bypass=tmp_path / "off.wav", replicas=True)
    order, fits = [], []

    def fit(capture, bypass, profile, path):
        order.append(path.name)
        fits.append(path.name)
        if len(fits) == 3:
            raise KeyboardInterrupt
        return replace(profile, findings=(*profile.findings, "fitted"))

    def measure():
        return measure_parts(
            session,
            tmp_path / "out",
            jobs=1,
            progress=lambda outcome: order.append(outcome.message),
            before_fits=lambda result, fits: order.append((len(result.profiles), fits)),
        )

    monkeypatch.setattr(run_file, "with_replica", fit)
    with pytest.raises(KeyboardInterrupt):
        measure()
    assert order[:7] == ["measured"] * 6 + [(6, 6)]
    order.clear()
    result = measure()
    assert order[:7] == ["up to date"] * 6 + [(6, 4)]  # two had been fitted
    assert len([name for name in order if str(name).endswith(".replica.json")]) == 4
    assert [profile.findings[-1] for profile in result.profiles] == ["fitted"] * 6
    assert not list((tmp_path / "out" / "superseded").iterdir())
    order.clear()
    assert (measure().kept, order) == (6, ["up to date"] * 6)


def test_a_changed_capture_is_measured_again_and_the_old_profile_kept(captured, tmp_path):
    before = run(captured, tmp_path / "out")
    original = (captured / "loud.wav").read_bytes()
    write_capture(captured / "loud.wav", 9, 4)
    try:
        after = run(captured, tmp_path / "out")
    finally:
        (captured / "loud.wav").write_bytes(original)
    assert (after.measured, after.kept) == (2, 4)
    assert len(list((tmp_path / "out" / "superseded").glob("*.json"))) == 2
    assert after.profiles[4].capture.sha256 != before.profiles[4].capture.sha256
    log = [
        json.loads(line) for line in (tmp_path / "out" / "log.jsonl").read_text(encoding="utf-8").splitlines()
    ]
    assert sum("superseded/" in line["message"] for line in log) == 2


def test_a_capture_without_the_stimulus_fails_alone(captured, tmp_path, rng):
    original = (captured / "loud.wav").read_bytes()
    write_wav(
        captured / "loud.wav", rng.normal(0, 0.01, (96_000, 2)), rate_hz=RATE_HZ, subtype="pcm24", force=True
    )
    try:
        result = run(captured, tmp_path / "out")
    finally:
        (captured / "loud.wav").write_bytes(original)
    assert [failure.part.capture.name for failure in result.failures] == ["loud.wav"] * 2
    assert len(result.profiles) == 4


def test_a_fault_of_the_program_leaves_the_other_captures_published(captured, tmp_path, monkeypatch):
    right = run_file.characterise_judged

    def failing(judged, dry, *, setting):
        if setting == "plain":
            raise ZeroDivisionError("made up")
        return right(judged, dry, setting=setting)

    monkeypatch.setattr(run_file, "characterise_judged", failing)
    result = run(captured, tmp_path / "out")
    assert {profile.setting for profile in result.profiles} == {"loud = 3"}
    messages = [str(failure) for failure in result.failures]
    assert messages and all(
        "charprobe itself failed" in text and "ZeroDivisionError: made up" in text for text in messages
    )


def test_missing_captures_are_named_before_anything_is_measured(captured, tmp_path):
    (tmp_path / "s.toml").write_text(SESSION, encoding="utf-8")
    with pytest.raises(SessionError, match=r"4 of 4 captures are not there.*Nothing was measured"):
        run(tmp_path, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_the_plan_says_what_is_missing_and_how_to_be_safe(captured, tmp_path):
    (tmp_path / "s.toml").write_text(SESSION, encoding="utf-8")
    (tmp_path / "short.toml").write_text(RECIPE, encoding="utf-8")
    text = plan_text(load_session(tmp_path / "s.toml"))
    assert "4 of 4 captures to go" in text
    assert "asks for repeats of loud = 3" in text
    assert "headphones off" in text
    assert "[there]" in plan_text(load_session(captured / "s.toml"))
