from charprobe.bench.questions import Answers, asked, session_text
from charprobe.session.file import parse_session


def test_answers_with_odd_characters_come_back_from_the_file(tmp_path):
    names = ['"loud" \\ soft', "Zürich, late\ttape", "third"]
    text = session_text(Answers('A "strip"', names, gain="12 o'clock"))
    made = parse_session(text, path=tmp_path / "s.toml")
    assert [setting.name for setting in made.settings] == names
    assert (made.device.name, made.device.gain, made.device.maker) == ('A "strip"', "12 o'clock", "unknown")
    assert made.loopback is None
    assert [setting.take for setting in made.settings] == [1, 2, 3]


def test_a_path_that_can_be_patched_around_is_asked_for(tmp_path):
    made = parse_session(session_text(Answers("strip", ["on"], around=True)), path=tmp_path / "s.toml")
    assert made.loopback == tmp_path / "path" / "around.wav"


class Answering:
    """Gives answers in order, "" for what is usual."""

    def __init__(self, *answers):
        self.answers = iter(answers)

    def ask(self, question, usual, read):
        return read(next(self.answers) or usual)

    def agree(self, question):
        return False


def test_what_is_asked_makes_a_session_and_names_are_told_apart_by_commas(tmp_path):
    person = Answering("strip, first unit", "", "", "", "12", "voice,  drum ,", "")
    made = parse_session(asked(person, tmp_path / "s.toml"), path=tmp_path / "s.toml")
    assert (made.device.name, made.device.maker, made.device.gain) == ("strip, first unit", "unknown", "12")
    assert [setting.name for setting in made.settings] == ["voice", "drum"]
    assert made.recipe == "quick"
