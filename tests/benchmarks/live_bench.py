"""Faults of a live rig, injected into real takes on a sound server without hardware: what is told, what is kept.

``python -m tests.benchmarks.live_bench`` prints a row a fault; ``--write`` also writes ``docs/accuracy/live.md``:
faults chosen with ``--only`` replace their own rows alone, each with its date, commit and load;
``--sitting FILE`` writes down a sitting with four settings and its second pass, as a person sees it; ``--keep DIR`` keeps
what it made, its pages too.
"""

import argparse
import json
import os
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from charprobe.files.sound.sound_file import open_capture
from tests.bench.jack_rig import RATE_HZ, jack_rig
from tests.bench.person import Person
from tests.bench.test_live import RECIPE
from tests.bench.test_live import SETTINGS as WALKED
from tests.benchmarks.written import FOLDER, write_section

SETTINGS = WALKED | {
    "bass": {"ratio": 2.0, "threshold": -30.0, "attack_s": 0.02, "release_s": 0.4},
    "bus": {"ratio": 1.5, "threshold": -18.0, "attack_s": 0.03, "release_s": 0.15},
}
SESSION = """schema = "charprobe.session/1"
recipe = "../short.toml"
pool = "captures"
bypass = "path/bypass.wav"
[device]
name = "Field strip"
[[setting]]
name = "voice"
take = 1
"""


def jack(rig, *command):
    subprocess.run(command, env=rig.env, check=True, capture_output=True)


def stopped(process, seconds):
    process.send_signal(signal.SIGSTOP)
    time.sleep(seconds)
    process.send_signal(signal.SIGCONT)


def stopped_program(person, seconds):
    os.kill(person.pid, signal.SIGSTOP)
    time.sleep(seconds)
    os.kill(person.pid, signal.SIGCONT)


def unplugged(rig):
    wires = subprocess.run(["jack_lsp", "-c"], env=rig.env, capture_output=True, text=True, check=True).stdout
    port = re.search(r"^(PortAudio\S*:out_0)", wires, re.M)[1]
    jack(rig, "jack_disconnect", port, "strip:in_0")
    time.sleep(1)  # more than the longest pause of the recipe
    jack(rig, "jack_connect", port, "strip:in_0")


def hung_up(_, person):
    """The terminal is closed, as by a lost connection: the program hears of it, mutes, keeps the take and ends."""
    os.close(person.terminal)
    os.waitpid(person.pid, 0)


def asked_to_end(_, person):
    os.kill(person.pid, signal.SIGTERM)


def suspended(rig):
    """Power saving takes the device away for longer than any pause, and gives it back."""
    stopped(rig.device, 8)


def deleted(rig, _):
    shutil.rmtree(rig.folder / "review")


def moved(rig, _):
    (rig.folder / "review").rename(rig.folder / "moved")


def second_sitting(rig, _):
    """Another run of the same command: refused, and it touches no take."""
    command = [sys.executable, "-m", "charprobe", "record", "review/session.toml", "--play", "strip"]
    told = subprocess.run(command, cwd=rig.folder, env=rig.env, capture_output=True, text=True, check=False)
    assert "in use by another run" in told.stderr, told.stderr


# fault -> what is done in the middle of a take, options, and what must be said
FAULTS = {
    "nothing": (lambda rig, _: None, (), r"KEEP"),
    "server stopped 50 ms": (lambda rig, _: stopped(rig.server, 0.05), (), r"KEEP|RETAKE"),
    "device in the loop stopped 300 ms": (lambda rig, _: stopped(rig.device, 0.3), (), r"KEEP|RETAKE"),
    "connection removed 1 s": (lambda rig, _: unplugged(rig), (), r"RETAKE"),
    "buffer size changed": (
        lambda rig, _: jack(rig, "jack_bufsize", "512"),
        (),
        r"KEEP|RETAKE|samples a second",
    ),
    "wrong rate": (None, ("--rate", "44100"), r"asked .* 44100"),
    "too few channels": (None, ("--inputs", "1,2,3,4,5,6,7,8"), r"has \d+ channels"),
    "server killed": (lambda rig, _: rig.server.kill(), (), r"does not answer"),
    "device in the loop killed": (lambda rig, _: rig.device.kill(), (), r"RETAKE|does not answer"),
    "server killed at a question": (None, (), r"could not be opened"),
    "program stopped 5 s": (lambda _, person: stopped_program(person, 5), (), r"KEEP|RETAKE"),
    "second sitting in the folder": (second_sitting, (), r"KEEP|RETAKE"),
    "folder deleted": (deleted, (), r"was deleted"),
    "folder moved": (moved, (), r"was its folder moved"),
    "device in the loop suspended 8 s": (
        lambda rig, _: suspended(rig),
        (),
        r"KEEP|RETAKE|does not answer|samples a second",
    ),
    "server hangs at a question": (None, (), r"has not answered"),
    "program asked to end": (asked_to_end, (), r"ended by SIGTERM"),
    "terminal closed": (hung_up, (), r"told to end"),
    "program killed": (lambda rig, person: person.is_killed(), (), None),
    "disk full": (None, (), r"cannot be written"),
}


def one_fault(name, folder):
    """Run one take with one fault; return what was said, whether it was said, seconds, and sound on the disk."""
    act, options, says = FAULTS[name]
    (folder / "short.toml").write_text(RECIPE)
    (folder / "review").mkdir()
    (folder / "review" / "session.toml").write_text(SESSION)
    command = [sys.executable, "-m", "charprobe", "record", "review/session.toml", "--play", "strip"]
    command += ["--outputs", "1", "--inputs", "1", "--no-probe", "--no-second", "--no-publish", *options]
    with jack_rig(folder, speed=2, name="faults") as rig:
        before = resource.getrlimit(resource.RLIMIT_FSIZE)
        if name == "disk full":
            resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, before[1]))
        person = Person(command, cwd=folder, env=rig.env)
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        start = time.monotonic()
        at_question = name.endswith("at a question")
        if act is not None or name == "disk full" or at_question:
            person.hears("Type yes")
            person.types("yes")
            person.hears(r"q stop\] ")
            if at_question:
                rig.server.send_signal(signal.SIGKILL if "killed" in name else signal.SIGSTOP)
                time.sleep(1)
            person.types()
        if act is not None or name == "disk full":
            person.hears(r"\b7 s left")  # tones sound then, however fast the machine is
            start = time.monotonic()
            if act is not None:
                act(rig, person)
        if says is None:  # the same command goes on, once the server has noticed
            says = "interrupted is kept"
            while True:
                person = Person(command, cwd=folder, env=rig.env)
                if person.hears(r"has not answered|is kept").group() == "is kept":
                    person.unread = person.heard
                    break
                person.ends()
        if act is hung_up:  # nobody hears it say anything: the log of takes does
            person.heard = person.unread = (folder / "review" / "takes.jsonl").read_text()
        person.hears(rf"(?s)(?:{says})", within_s=120)
        took = time.monotonic() - start
        time.sleep(1.5)
        if act is not hung_up:
            person.reads_on()
        told = " ".join(re.findall(r"(?:STOP|WARN|NOTE) ([a-z-]+)", person.heard))
        line = next(
            (row for row in person.heard.replace("\r", "\n").splitlines() if re.search(says, row)), says
        )
        person.is_killed()
    sound = [open_capture(path).frames for path in folder.rglob("*.wav")]
    line = "in the log: told to end" if act is hung_up else line.replace(str(folder), "BENCH")
    return {"said": line.strip()[:90], "codes": told, "after_s": took, "kept_s": sum(sound) / RATE_HZ}


def table(names):
    """Run faults; one row each, with the day, the commit and the load of its own run."""
    rows = {}
    for name in names:
        when = f"{datetime.now(UTC):%Y-%m-%d}, {_commit()}, {os.getloadavg()[0]:.0f}"
        with tempfile.TemporaryDirectory() as folder:
            try:
                found = one_fault(name, Path(folder))
                cells = [
                    found["said"],
                    found["codes"] or "–",
                    f"{found['after_s']:.1f}",
                    f"{found['kept_s']:.1f}",
                ]
            except AssertionError as error:
                cells = [f"NOT TOLD: {str(error)[-200:]!r}", "", "", ""]
        rows[name] = f"| {' | '.join([name, *cells, when])} |"
        print(rows[name], flush=True)
    return rows


def _commit():
    """The commit that runs, and whether the tree has moved on from it."""
    folder = Path(__file__).parent
    head = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=folder, capture_output=True, text=True, check=True
    )
    changed = subprocess.run(
        ["git", "diff", "--quiet", "HEAD", "--", "charprobe"], cwd=folder, check=False
    ).returncode
    return head.stdout.strip() + ("+" if changed else "")


def merged(rows):
    """The table with rows of this run in place of their own earlier ones; those not run stay as they are dated."""
    page = FOLDER / "live.md"
    section = (
        re.search(r"(?ms)^## Faults$.*?(?=^## |\Z)", page.read_text(encoding="utf-8"))
        if page.exists()
        else None
    )
    lines = [line for line in (section[0] if section else "").splitlines() if line.startswith("| ")]
    there = {line.split(" | ")[0].removeprefix("| "): line for line in lines[1:]}
    known = {name: row + " earlier |" if row.count("|") == 6 else row for name, row in there.items()}
    head = "| fault in the middle of a take | said | codes | after s | sound kept, s | day, commit, load |\n|---|---|---|---|---|---|"
    return "\n".join([head, *((known | rows)[name] for name in FAULTS if name in known | rows)])


def sitting(path, keep):
    """A guided session of four settings and its second pass; the terminal as it was."""
    with tempfile.TemporaryDirectory() as name, jack_rig(Path(name), speed=2, name="sitting") as rig:
        folder = Path(name)
        command = [sys.executable, "-m", "charprobe", "record", "review/session.toml", "--play", "strip"]
        person = Person([*command, "--outputs", "1", "--inputs", "1"], cwd=folder, env=rig.env)
        for answer in ("Field strip", "", "", "", "12 o'clock", ", ".join(SETTINGS), "quick"):
            person.hears(r"\]: ")
            person.types(answer)
        person.hears("patch around")
        person.types("n")
        person.hears("Type yes")
        person.types("yes")
        while True:
            match = person.hears(r"Play .*Enter = yes|\d+ of \d+  (\S+) \d+ |Record it now", within_s=900)
            if match[1] is not None:
                rig.turn(**SETTINGS.get(match[1], {}))
                person.hears(r"q stop\] ")
                person.types()
                person.hears(r"Enter = .*q stop\] ", within_s=600)
            person.types()
            if match[0].startswith("Record"):
                break
        for _ in range(2 * len(SETTINGS)):
            match = person.hears(r"\d+ of \d+  (\S+) \d+ |page: ", within_s=900)
            if match[1] is None:
                break
            rig.turn(**SETTINGS.get(match[1], {}))
            person.hears(r"q stop\] ")
            person.types()
            person.hears(r"Enter = .*q stop\] ", within_s=600)
            person.types()
        code = person.ends(within_s=1200)
        text = re.sub(r"[^\n]*\r(?!\n)", "", person.heard.replace("\r\n", "\n")).replace(str(folder), "BENCH")
        kept = [
            json.loads(line)["kept"] for line in (folder / "review" / "takes.jsonl").read_text().splitlines()
        ]
        if keep is not None:
            shutil.copytree(folder / "review", keep)
    path.write_text(
        f"# A sitting at the bench, as the terminal shows it\n\n{len(SETTINGS)} settings, of a simulated compressor and of a "
        "foreign effect, in the loop of a sound server without hardware; made by\n`python -m tests.benchmarks.live_bench --sitting docs/live-sitting.md`. "
        "Driver flags come of a busy machine; the samples were judged whole. "
        f"Exit code {code}, {sum(kept)} of {len(kept)} takes of the first pass kept.\n\n```text\n{text.strip()}\n```\n"
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", nargs="*", default=list(FAULTS))
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--sitting", type=Path)
    parser.add_argument("--keep", type=Path)
    asked = parser.parse_args()
    if asked.sitting:
        sitting(asked.sitting, asked.keep)
    else:
        rows = table(asked.only)
        if asked.write:
            words = (
                "One take each on a sound server without hardware, the fault injected about 2 s into it. Each row has the day, "
                "the commit (+: with changes)\nand the load of its own run; rows made anew with `--only` replace their own alone."
            )
            write_section(
                "live",
                "Faults",
                "python -m tests.benchmarks.live_bench --write",
                f"{words}\n\n{merged(rows)}",
            )
