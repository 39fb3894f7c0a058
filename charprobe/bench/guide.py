"""The walk through a session: what to set, play, record, judge, keep or take again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, Protocol

from charprobe.bench.devices import Patch
from charprobe.bench.jobs import Job
from charprobe.bench.repeats import moved_between
from charprobe.bench.stream import MOST_FLAGS, Meter, OpenStream, TakeEnd, open_stream, record_take
from charprobe.bench.takes import TakeFolder
from charprobe.files.sound.sound_file import open_capture
from charprobe.measuring.check import check
from charprobe.measuring.verdict import Verdict
from charprobe.placing.align import locate
from charprobe.placing.track import Track
from charprobe.profile.entry import Health
from charprobe.stimulus.render import lay_out, render_sides
from charprobe.stimulus.timetable import Stimulus
from charprobe.values.errors import CharprobeError, OutputError
from charprobe.values.wording import signed_text

Ready = Literal["play", "skip", "back", "stop"]
Decision = Literal["keep", "retake", "skip", "back", "stop"]
DRIVER_FLAGS = "driver-flags"


@dataclass(frozen=True)
class Judged:
    """A take that was recorded, and what is said of it: a verdict per channel, or why there is none."""

    job: Job
    end: TakeEnd
    verdicts: tuple[Verdict, ...]
    health: tuple[Health, ...]
    trouble: str = ""
    beside_bypass: tuple[str, ...] = ()  # how much louder than the bypass, input by input

    @property
    def good(self) -> bool:
        """Whether it can be kept."""
        whole = self.end.ending == "whole" and not self.trouble
        stopped = any(item.severity == "stop" for item in self.health)
        return whole and not stopped and not any(verdict.retake for verdict in self.verdicts)

    @property
    def word(self) -> str:
        """Keep or retake, in one word or two."""
        if not self.good:
            return "RETAKE"
        told = [item.severity for item in self.health]
        warned = "warn" in told or any(verdict.warned for verdict in self.verdicts)
        return "KEEP, with warnings" if warned else "KEEP"


class Bench(Protocol):
    """Who asks the person at the bench, and shows what goes on."""

    def ready(self, job: Job, number: int, of: int, length_s: float) -> Ready:
        """Say what to set, and wait until it is."""

    def meter(self, job: Job) -> Meter:
        """Give something that shows levels and time left while the take runs."""

    def judged(self, judged: Judged, proposed: Decision) -> Decision:
        """Show the verdict and ask what to do; `proposed` is what Enter means."""


def walk(
    jobs: Sequence[Job],
    patch: Patch,
    bench: Bench,
    *,
    opened: OpenStream = open_stream,
) -> bool:
    """Record the takes that are not there yet, one after the other, as the person at the bench decides.

    `jobs` are in order, those that are done are passed over; `bench` asks and shows, `opened` opens sound
    streams. Tells whether all of them are done: False after "stop", and skipped ones count as not done.
    `LiveError` if the sound device is gone: what was recorded is on the disk, the same call goes on from
    there.
    """
    at, again = 0, False
    while at < len(jobs):
        job = jobs[at]
        if job.done and not again:
            at += 1
            continue
        again = False
        ready = bench.ready(job, at + 1, len(jobs), _stimulus(job, patch).duration_s)
        decision = _one_take(job, patch, bench, jobs, opened) if ready == "play" else ready
        if decision == "stop":
            return False
        if decision == "back":
            at, again = max(0, at - 1), True
        elif decision != "retake":
            at += 1
    return all(job.done for job in jobs)


def _stimulus(job: Job, patch: Patch) -> Stimulus:
    return lay_out(job.recipe, rate_hz=patch.rate_hz, take=job.take)


def _one_take(job: Job, patch: Patch, bench: Bench, jobs: Sequence[Job], opened: OpenStream) -> Decision:
    """Record, judge and file one take."""
    folder = TakeFolder(job.folder)
    coming = folder.coming(job.file)
    sound = render_sides(_stimulus(job, patch))
    end = record_take(patch, sound, coming, meter=bench.meter(job), opened=opened)
    if not coming.exists():
        raise OutputError(
            f"{coming}: is not there any more: was its folder moved while it was recorded? The take went "
            "along; move the folder back and run the same command again"
        )
    judged = _judged(job, end, patch, jobs)
    proposed: Decision = "keep" if judged.good else "retake"
    if end.ending in ("whole", "stopped by hand"):
        decision = bench.judged(judged, proposed)
    else:
        bench.judged(judged, "stop")
        decision = "stop"
    kept = decision == "keep" or (decision in ("back", "stop") and judged.good)
    if kept:
        if job.done:
            folder.set_aside(job.file, "replaced")
        folder.keep(coming, job.file)
        place = job.file
    else:
        place = folder.set_aside(coming, "rejected" if end.ending == "whole" else "partial")
    broken = end.error(place)
    try:
        folder.log(_row(judged, decision, place, patch, folder, kept=kept))
    except OutputError:
        if broken is None:
            raise
    if broken is not None:
        raise broken
    return decision


def _row(
    judged: Judged, decision: Decision, place: Path, patch: Patch, folder: TakeFolder, *, kept: bool
) -> dict[str, object]:
    """One line of the log."""
    end, inside = judged.end, place.is_relative_to(folder.folder)
    return {
        "take": judged.job.name,
        "verdict": judged.word,
        "decision": decision,
        "kept": kept,
        "file": str(place.relative_to(folder.folder) if inside else place),
        "ending": end.ending,
        "played_on": patch.play.name,
        "recorded_on": patch.record.name,
        "rate_hz": patch.rate_hz,
        "outputs": patch.outputs,
        "inputs": patch.inputs,
        "level_db": patch.level_db,
        "lost_frames": end.lost,
        "driver_flags": [[round(flag.time_s, 3), flag.text] for flag in end.flags],
        "health": sorted(
            {
                item.code
                for findings in (judged.health, *(verdict.health for verdict in judged.verdicts))
                for item in findings
                if item.code != DRIVER_FLAGS
            }
        ),
        "trouble": judged.trouble,
        "beside_bypass": judged.beside_bypass,
    }


def _judged(job: Job, end: TakeEnd, patch: Patch, jobs: Sequence[Job]) -> Judged:
    """Judge every channel of a take, that of a setting beside the bypass, a repeat beside the take before."""
    health = _driver_health(end)
    if end.ending != "whole":
        return Judged(job, end, (), health, end.message)
    others = [other for other in jobs if other is not job and other.folder == job.folder and other.done]
    off = [other for other in others if other.kind == "bypass"]
    same = [other.file for other in others if (other.kind, other.take) == (job.kind, job.take)]
    stimulus = _stimulus(job, patch)
    try:
        capture = open_capture(end.path)
        bypass = open_capture(off[0].file) if off and job.kind == "setting" else None
        earlier = open_capture(same[0]) if same else None
    except CharprobeError as error:
        return Judged(job, end, (), health, str(error))
    verdicts, trouble, beside = [], [], list[str]()
    for channel, recorded in enumerate(patch.inputs, start=1):
        try:
            verdict = check(capture, stimulus, bypass=bypass, channel=channel)
            verdicts.append(verdict)
            if earlier is not None and channel <= earlier.channels:
                before = locate(Track(earlier, channel - 1, stimulus))
                health += tuple(moved_between(before, verdict.take.alignment, input_number=recorded))
            elif bypass is not None and channel <= bypass.channels:
                without = locate(Track(bypass, channel - 1, stimulus))
                louder = verdict.take.alignment.gain_db - without.gain_db
                beside.append(
                    f"input {recorded}: {signed_text(louder, 2)} dB against the bypass, at the soft marker"
                )
        except CharprobeError as error:
            trouble.append(f"input {recorded}: {error}")
    if trouble and verdicts:
        heard = ",".join(str(patch.inputs[one.take.channel]) for one in verdicts)
        trouble.append(f"record only what carries the sound: --inputs {heard}")
    return Judged(job, end, tuple(verdicts), health, ". ".join(trouble), tuple(beside))


def _driver_health(end: TakeEnd) -> tuple[Health, ...]:
    """What the driver said, and frames that found no room; the sound itself is judged all the same."""
    found = []
    if end.flags:
        first, last, count = end.flags[0], end.flags[-1], len(end.flags)
        more = " or more" if count == MOST_FLAGS else ""
        span = f"{count} times{more}, {first.time_s:.2f} to {last.time_s:.2f} s"
        when = f"at {first.time_s:.2f} s" if count == 1 else span
        message = (
            f"trouble reported {when} ({first.text}). The samples are judged all the same; if they are bad, "
            "close other programs or raise the driver's buffer"
        )
        found.append(Health(DRIVER_FLAGS, "note", message, start_s=end.flags[0].time_s))
    if end.lost:
        message = (
            f"{end.lost} frames came in faster than the disk took them and are lost: record to a "
            "faster disk, and take again"
        )
        found.append(Health("dropout", "stop", message))
    return tuple(found)
