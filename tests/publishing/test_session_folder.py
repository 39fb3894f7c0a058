import pytest

from charprobe.publishing.session_folder import run_session
from charprobe.session.file import parse_session
from charprobe.values.errors import SessionError

POOLED = """schema = "charprobe.session/1"
pool = "captures"
[device]
name = "strip"
[[setting]]
name = "voice"
take = 1
"""


@pytest.mark.parametrize("inside", ["captures", "captures/published"])
def test_nothing_is_published_where_captures_are_looked_for(tmp_path, inside):
    (tmp_path / "captures").mkdir()
    with pytest.raises(SessionError, match=r"choose another folder"):
        run_session(parse_session(POOLED, path=tmp_path / "s.toml"), tmp_path / inside)
    assert not list((tmp_path / "captures").iterdir())
