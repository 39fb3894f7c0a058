"""The rack: captures that pair themselves, one input that is off."""

from charprobe.rehearsal import demo_rack
from charprobe.session.file import load_session
from charprobe.session.findings import findings_of
from charprobe.session.pairing import pair_captures
from charprobe.session.run import measure_parts
from charprobe.stimulus.recipe import load_recipe


def test_a_small_rack_says_what_was_built_into_it(tmp_path, monkeypatch):
    monkeypatch.setattr(demo_rack, "TAKES", 1)
    monkeypatch.setattr(demo_rack, "STAGES", demo_rack.STAGES[:2])
    written = []
    path = demo_rack.make_rack(
        tmp_path / "rack", recipe=load_recipe("quick"), force=False, progress=written.append
    )
    assert written == [take.file for take in demo_rack.rack_takes()]
    pairing = pair_captures(load_session(path))
    assert pairing.notes == ()
    result = measure_parts(pairing.session, tmp_path / "out", jobs=1, progress=lambda outcome: None)
    assert (len(result.profiles), result.failures) == (8, ())
    findings = findings_of(pairing.session, result)
    assert [claim.answer for claim in findings.claims] == ["supported", "supported"]
    lines = list(findings.sentences)
    assert "Channel 3" not in path.read_text(encoding="utf-8") and "0.3" not in path.read_text(
        encoding="utf-8"
    )
    outliers = [line for line in lines if "stands out" in line]
    assert [line.split(" in ")[0] for line in outliers] == [
        "whisper: Channel 3 stands out", "dialogue: Channel 3 stands out"
    ]  # fmt: skip
