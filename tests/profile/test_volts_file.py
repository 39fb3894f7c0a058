import pytest

from charprobe.profile.volts import VoltsReading
from charprobe.profile.volts_file import load_volts
from charprobe.session.file import STARTER, parse_session
from charprobe.values.errors import SessionError, VoltsError

ROW = "[[reading]]\ndbfs = {}\nvolts = {}\n"


def written(folder, text):
    path = folder / "v.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_readings_come_back_in_the_order_of_the_file(tmp_path):
    text = "".join(ROW.format(dbfs, volts) for dbfs, volts in ((-20.0, 0.7), (-40, 0.07)))
    assert load_volts(written(tmp_path, text)) == (VoltsReading(-20.0, 0.7), VoltsReading(-40.0, 0.07))


BAD = {
    "one reading": (ROW.format(-20, 1), "`reading` is 1 entry; allowed: 2 to 100"),
    "one level": (ROW.format(-20, 1) * 2, "all readings are at one level"),
    "zero volts": (ROW.format(-20, 1) + ROW.format(-40, 0), "reading 2: `volts` is 0; allowed: a number"),
    "not a number": (ROW.format(-20, "nan") + ROW.format(-40, 1), "reading 1: `volts` is nan"),
    "unknown key": (
        ROW.format(-20, 1) + ROW.format(-40, 1) + "dbu = 3\n",
        "reading 2: there is no key `dbu`; known keys: dbfs, volts",
    ),
    "other table": ("title = 'x'\n", "there is no key `title`; known keys: reading"),
    "no reading": ("", "`reading` is missing; allowed: 2 to 100"),
    "half a reading": (ROW.format(-20, 1) + "[[reading]]\nvolts = 1", "line 4, reading 2: `dbfs` is missing"),
    "not TOML": ("=", "not valid TOML"),
}


@pytest.mark.parametrize("case", BAD)
def test_a_bad_file_is_refused_with_its_place(tmp_path, case):
    text, says = BAD[case]
    with pytest.raises(VoltsError) as caught:
        load_volts(written(tmp_path, text))
    assert says in str(caught.value)


def test_a_session_carries_readings_and_refuses_bad_ones(tmp_path):
    row = "\n[[calibration]]\ndbfs = {}\nvolts = 0.1\n"
    session = parse_session(STARTER + row.format(-20) + row.format(-40), path=tmp_path / "s.toml")
    assert session.calibration == (VoltsReading(-20.0, 0.1), VoltsReading(-40.0, 0.1))
    with pytest.raises(SessionError, match="calibration"):
        parse_session(STARTER + row.format(-20), path=tmp_path / "s.toml")
