"""A verdict in one word, in lines and for machines."""

import dataclasses

from judged_captures import RATE, clean_once, placed

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.verdict import Verdict
from charprobe.profile.entry import Health

NOTE = Health("clock-drift", "note", "Runs fast.", channel=0)
WARNING = Health("spur", "warn", "A tone.", channel=0, start_s=1.0, end_s=2.0)
STOP = Health("clipped", "stop", "Clipped.", channel=0, start_s=3.0, end_s=4.0)


def test_the_worst_finding_gives_the_word():
    take = placed(clean_once("plain-wire"))
    words = [Verdict(take, health).word for health in ((), (NOTE,), (NOTE, WARNING), (WARNING, STOP))]
    assert words == ["KEEP", "KEEP", "KEEP, with warnings", "RETAKE"]


def test_machines_get_what_people_read():
    take = placed(clean_once("plain-wire"))
    verdict = Verdict(take, (STOP, WARNING))
    assert verdict.text().count("STOP clipped") == verdict.text().count("WARN spur") == 1
    table = verdict.to_dict()
    assert table["verdict"] == "retake"
    assert [item["channel"] for item in table["health"]] == [1, 1]
    assert table["segments"] == [segment.spec.name for segment in take.stimulus.segments]


def test_names_of_files_cannot_steer_a_terminal():
    take = placed(clean_once("plain-wire"))
    source = MemoryCapture(take.source.samples, rate_hz=RATE, name="a\n\x1b[31m\u202e.wav")
    told = (dataclasses.replace(WARNING, message=f"A tone ({source.name})."),)
    text = Verdict(dataclasses.replace(take, source=source), told).text()
    assert text.replace("\n", "").isprintable()
    assert text.startswith("KEEP, with warnings  a↵\\x1b[31m")
