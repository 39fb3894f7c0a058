"""A verdict in one word, in lines and for machines."""

import dataclasses

from judged_captures import RATE, clean_once, placed

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.verdict import MOST_TOLD, Verdict
from charprobe.profile.entry import Health

NOTE = Health("clock-drift", "note", "Runs fast.", channel=0)
WARNING = Health("spur", "warn", "A tone.", channel=0, start_s=1.0, end_s=2.0)
STOP = Health("clipped", "stop", "Clipped.", channel=0, start_s=3.0, end_s=4.0)


def test_the_worst_finding_gives_the_word():
    take = placed(clean_once("plain-wire"))
    words = [Verdict(take, health).word for health in ((), (NOTE,), (NOTE, WARNING), (WARNING, STOP))]
    assert words == ["KEEP", "KEEP", "KEEP, with warnings", "RETAKE"]


def test_many_findings_are_counted_with_the_last_of_them_and_machines_get_all():
    take = placed(clean_once("plain-wire"))
    many = tuple(dataclasses.replace(STOP, start_s=float(k), end_s=k + 0.5) for k in range(MOST_TOLD + 2))
    verdict = Verdict(take, many)
    assert verdict.text().count("STOP clipped") == MOST_TOLD
    assert "and 2 more findings of clipped, the last at 0:00:04.500" in verdict.text()
    table = verdict.to_dict()
    assert table["verdict"] == "retake"
    assert [item["channel"] for item in table["health"]] == [1] * len(many)
    assert table["segments"] == [segment.spec.name for segment in take.stimulus.segments]


def test_names_of_files_cannot_steer_a_terminal():
    take = placed(clean_once("plain-wire"))
    source = MemoryCapture(take.source.samples, rate_hz=RATE, name="a\n\x1b[31m\u202e.wav")
    told = (dataclasses.replace(WARNING, message=f"A tone ({source.name})."),)
    text = Verdict(dataclasses.replace(take, source=source), told).text()
    assert text.replace("\n", "").isprintable()
    assert text.startswith("KEEP, with warnings  a↵\\x1b[31m")
