from charprobe.bench.jobs import jobs_of
from charprobe.bench.questions import Answers, session_text
from charprobe.session.file import parse_session


def session(tmp_path, names=("voice", "drum")):
    text = session_text(Answers("Field strip", names, around=True))
    return parse_session(text, path=tmp_path / "session.toml")


def test_path_and_bypass_come_first_and_twice_and_the_earliest_setting_and_the_bypass_last(tmp_path):
    jobs = jobs_of(session(tmp_path))
    names = [job.name for job in jobs]
    assert names == ["path 1", "path 2", "bypass 1", "bypass 2", "voice 1", "drum 1", "voice 2", "bypass 3"]
    assert len({job.file for job in jobs}) == len(jobs)
    assert jobs[4].file == tmp_path / "captures" / "voice 1.wav"
    assert [job.take for job in jobs[4:]] == [1, 2, 1, 0]


def test_another_order_of_settings_is_the_same_for_the_same_seed(tmp_path):
    many = session(tmp_path, [f"setting {n}" for n in range(8)])
    orders = [[job.name for job in jobs_of(many, shuffle=seed)] for seed in (3, 3, 4)]
    assert orders[0] == orders[1] != orders[2]
    assert sorted(orders[0][:-2]) == sorted(orders[2][:-2])


def test_captures_the_file_lists_are_where_takes_go(tmp_path):
    text = 'schema = "charprobe.session/1"\nrecipe = "quick"\nbypass = "off.wav"\n[device]\nname = "x"\n'
    text += '[[setting]]\nname = "on"\ncaptures = ["a.wav", "b.wav"]\n'
    listed = parse_session(text, path=tmp_path / "session.toml")
    names = [job.file.name for job in jobs_of(listed)]
    assert names == ["off.wav", "off again.wav", "a.wav", "b.wav", "off at the end.wav"]
    assert [job.file.name for job in jobs_of(listed, repeats=False)] == ["off.wav", "a.wav", "b.wav"]
