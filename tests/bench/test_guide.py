"""The walk through a session on a loop without a sound device, with a person made of answers."""

import json

import numpy as np
import pytest

from charprobe.bench import guide, stream
from charprobe.bench.guide import Judged, walk
from charprobe.bench.jobs import jobs_of
from charprobe.bench.questions import Answers, session_text
from charprobe.files.sound.growing_wav import GrowingWav
from charprobe.files.sound.sound_file import open_capture
from charprobe.session.file import parse_session
from charprobe.values.errors import LiveError, OutputError, SoundFileError
from tests.bench.fake_stream import opener
from tests.bench.rigs import SHORT, no_meter, patch

ONE = patch(outputs=(1,), inputs=(1,))


class Person:
    """Takes what is proposed, but where `ready` and `judged` have answers for a take; remembers it all."""

    def __init__(self, ready=None, judged=None):
        self.ready_answers, self.judged_answers = ready or {}, judged or {}
        self.asked, self.shown = [], []

    def ready(self, job, number, of, length_s):
        self.asked.append(job.name)
        answers = self.ready_answers.get(job.name)
        return answers.pop(0) if answers else "play"

    def meter(self, job):
        return no_meter

    def judged(self, judged, proposed):
        self.shown.append(judged)
        answers = self.judged_answers.get(judged.job.name)
        return answers.pop(0) if answers else proposed


@pytest.fixture
def jobs(tmp_path):
    (tmp_path / "short.toml").write_text(SHORT)
    text = session_text(Answers("strip", ["voice", "drum"], recipe="short.toml"))
    return jobs_of(parse_session(text, path=tmp_path / "session.toml"))


@pytest.fixture
def unjudged(monkeypatch):
    """Every whole take is good: the walk alone is tested."""
    monkeypatch.setattr(guide, "_judged", lambda job, end, patch, jobs: Judged(job, end, (), ()))


def noisy(rng, gain=0.5):
    return lambda block: gain * block + 1e-5 * rng.standard_normal(block.shape).astype(np.float32)


def log_of(jobs):
    return [json.loads(line) for line in (jobs[0].folder / "takes.jsonl").read_text().splitlines()]


def test_every_take_is_recorded_judged_and_kept_and_nothing_is_done_twice(jobs, rng):
    person = Person()
    jobs = jobs[1:3]
    assert walk(jobs, patch(), person, opened=opener(device=noisy(rng)))
    assert person.asked == ["bypass 2", "voice 1"]
    assert all(job.done for job in jobs)
    assert [judged.word.split(",")[0] for judged in person.shown] == ["KEEP"] * len(jobs)
    assert len(person.shown[0].verdicts) == 2
    again = Person()
    assert walk(jobs, patch(), again, opened=opener(device=noisy(rng)))
    assert again.asked == []


def test_retake_skip_and_back_do_what_they_say_and_lose_no_take(jobs, rng, unjudged):
    person = Person(ready={"drum 1": ["back", "play"]}, judged={"bypass 1": ["retake"], "voice 2": ["skip"]})
    jobs = (jobs[0], *jobs[2:-1])
    assert not walk(jobs, ONE, person, opened=opener(device=noisy(rng)))
    assert person.asked == ["bypass 1", "bypass 1", "voice 1", "drum 1", "voice 1", "drum 1", "voice 2"]
    assert [job.name for job in jobs if not job.done] == ["voice 2"]
    names = sorted(path.name for path in (jobs[0].folder / "set aside").iterdir())
    assert names == ["bypass rejected 1.wav", "voice 1 replaced 1.wav", "voice 2 rejected 1.wav"]
    assert len(log_of(jobs)) == 6


def test_stopped_and_run_again_it_goes_on(jobs, rng, unjudged):
    jobs = jobs[:3]
    assert not walk(jobs, ONE, Person(ready={"bypass 2": ["stop"]}), opened=opener(device=noisy(rng)))
    rest = Person()
    assert walk(jobs, ONE, rest, opened=opener(device=noisy(rng)))
    assert rest.asked == ["bypass 2", "voice 1"]


def test_a_dead_channel_asks_for_a_retake_and_names_the_input(jobs, rng):
    def half(block):
        return noisy(rng)(block) * np.array([1, 0], dtype=np.float32)

    person = Person(judged={"bypass 1": ["stop"]})
    assert not walk(jobs, patch(), person, opened=opener(device=half))
    (judged,) = person.shown
    assert not judged.good
    assert "input 2" in judged.trouble
    assert "--inputs 1" in judged.trouble
    assert not jobs[0].done


def test_a_clipped_take_is_proposed_to_be_taken_again(jobs, rng):
    person = Person(judged={"bypass 1": ["stop"]})
    walk(jobs, ONE, person, opened=opener(device=lambda block: np.clip(noisy(rng, 3.0)(block), -1, 1)))
    assert person.shown[0].word == "RETAKE"
    assert "clipped" in log_of(jobs)[0]["health"]


def test_a_flag_of_the_driver_is_a_note_and_does_not_spoil_a_good_take(jobs, rng):
    person = Person()
    walk(jobs[:1], ONE, person, opened=opener(device=noisy(rng), flag_at=30_000))
    assert [item.code for item in person.shown[0].health] == ["driver-flags"]
    assert person.shown[0].good
    assert log_of(jobs)[0]["driver_flags"][0][1] == "input overflow"


def test_a_gain_turned_between_two_takes_of_the_bypass_is_told(jobs, rng):
    gains = iter((0.5, 0.52))

    def opened(rig, callback):
        return opener(device=noisy(rng, next(gains)))(rig, callback)

    person = Person()
    walk(jobs[:2], ONE, person, opened=opened)
    moved = [item for item in person.shown[1].health if item.code == "level-drift"]
    assert f"+{20 * np.log10(0.52 / 0.5):.2f} dB" in moved[0].message
    assert person.shown[1].word == "KEEP, with warnings"
    assert "level-drift" in log_of(jobs)[1]["health"]


def test_an_input_that_is_muted_in_the_middle_is_taken_again(jobs, rng):
    heard = [0]

    def muted(block):
        heard[0] += len(block)
        return noisy(rng)(block) * (not 120_000 < heard[0] < 160_000)

    person = Person(judged={"bypass 1": ["stop"]})
    walk(jobs[:1], ONE, person, opened=opener(device=muted))
    assert person.shown[0].word == "RETAKE"
    assert "dropout" in log_of(jobs)[0]["health"]


def test_a_disk_that_fills_up_ends_the_sitting_with_the_take_set_aside_even_if_the_log_cannot_be_written(
    jobs, rng, monkeypatch
):
    append = GrowingWav.append

    def full(wav, block):
        if wav.frames > 20_000:
            raise SoundFileError(f"{wav.path}: cannot be written on (No space left on device)")
        append(wav, block)

    monkeypatch.setattr(GrowingWav, "append", full)
    (jobs[0].folder / "takes.jsonl").mkdir()  # no line can be written either
    with pytest.raises(LiveError, match=r"No space left.*bypass partial 1\.wav"):
        walk(jobs, ONE, Person(), opened=opener(device=noisy(rng)))
    assert open_capture(jobs[0].folder / "set aside" / "bypass partial 1.wav").frames > 20_000


def test_frames_that_found_no_room_are_never_proposed_to_be_kept(jobs, rng, monkeypatch):
    monkeypatch.setattr(stream, "RING_S", 0.05)
    monkeypatch.setattr(stream, "LOOK_EVERY_S", 0.5)
    person = Person(judged={"bypass 1": ["stop"]})
    walk(jobs[:1], ONE, person, opened=opener(device=noisy(rng)))
    assert person.shown[0].word == "RETAKE"
    assert not jobs[0].done


def test_a_folder_that_is_moved_while_a_take_runs_takes_it_along_and_that_is_said(jobs, rng):
    folder = jobs[0].folder

    def moving(block):
        if (folder / "coming in").exists():
            (folder / "coming in").rename(folder / "elsewhere")
        return noisy(rng)(block)

    with pytest.raises(OutputError, match="moved while it was recorded"):
        walk(jobs, ONE, Person(), opened=opener(device=moving))
    assert open_capture(folder / "elsewhere" / "bypass.wav").frames > 100_000


def test_a_gain_turned_before_the_only_setting_shows_in_the_bypass_taken_last(tmp_path, rng):
    (tmp_path / "short.toml").write_text(SHORT)
    text = session_text(Answers("strip", ["voice"], recipe="short.toml"))
    jobs = jobs_of(parse_session(text, path=tmp_path / "session.toml"))
    jobs = (jobs[0], jobs[2], jobs[-1])
    assert [job.name for job in jobs] == ["bypass 1", "voice 1", "bypass 3"]
    gains, person = iter([0.5, 0.6, 0.6]), Person()

    def opened(rig, callback):
        return opener(device=noisy(rng, next(gains)))(rig, callback)

    walk(jobs, ONE, person, opened=opened)
    assert person.shown[1].beside_bypass == ("input 1: +1.58 dB against the bypass, at the soft marker",)
    (moved,) = [item for item in person.shown[2].health if item.code == "level-drift"]
    assert "+1.58 dB" in moved.message  # 20 log10(0.6 / 0.5)
