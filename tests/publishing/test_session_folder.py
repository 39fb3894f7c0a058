import dataclasses
import subprocess
import sys
from types import SimpleNamespace

import pytest
from made_profiles import B, made_profile

from charprobe.publishing import session_folder
from charprobe.publishing.session_folder import run_session
from charprobe.session.file import parse_session
from charprobe.session.run import SessionResult
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


MARGIN = """
[[margin]]
of = "static.makeup_gain"
size = 3.0
reason = "the console's own trim"
"""


@pytest.mark.parametrize(("own", "gain"), [("", "different in gain +2.0"), (MARGIN, "curve, gain, attack")])
def test_a_sessions_own_margins_hold_beside_earlier_devices_too(tmp_path, monkeypatch, own, gain):
    earlier = tmp_path / "earlier"
    earlier.mkdir()
    made_profile(dataclasses.replace(B, name="louder", makeup_db=B.makeup_db + 2)).save(earlier / "e.json")
    session = parse_session(POOLED + own, path=tmp_path / "s.toml")
    result = SessionResult((made_profile(B),), (), (), 1, 0)
    monkeypatch.setattr(session_folder, "pair_captures", lambda _: SimpleNamespace(session=session, notes=()))
    monkeypatch.setattr(session_folder, "parts_of", lambda _: ())
    monkeypatch.setattr(session_folder, "measure_parts", lambda *_, **__: result)
    monkeypatch.setattr(session_folder, "publish", lambda *_, **__: ())
    (found,) = run_session(session, tmp_path / "out", references=[earlier]).beside
    assert gain in found


DRAWN = """
import sys
from pathlib import Path
from charprobe.profile.profile import load_profile
from charprobe.publishing.folder import load_what_draws
profile = load_profile(Path(sys.argv[1]))
load_what_draws()
known = set(sys.modules)
from charprobe.publishing.figures.all_figures import draw_profile
draw_profile(profile, Path(sys.argv[2]), force=False, looks=["article"])
print(*sorted(set(sys.modules) - known))
"""


def test_processes_that_draw_find_everything_loaded(tmp_path):
    made_profile(B).save(tmp_path / "b.json")
    call = [sys.executable, "-c", DRAWN, str(tmp_path / "b.json"), str(tmp_path / "figures")]
    assert subprocess.run(call, check=True, capture_output=True, text=True).stdout == "\n"
    assert {path.suffix for path in (tmp_path / "figures").iterdir()} == {".png", ".pdf", ".svg", ".txt"}
