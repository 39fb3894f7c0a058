import os
import signal
import subprocess
import sys
import threading
import time
from functools import partial
from pathlib import Path

import pytest
from joblib import Parallel, delayed

from charprobe.session import side_by_side as side_by_side_file
from charprobe.session.side_by_side import side_by_side

HERE = """
import os, signal, sys, threading, time
from functools import partial
from charprobe.session.side_by_side import side_by_side
"""
WAIT_S = 30


def ran(code):
    """Run code in a process where no other thread runs; return what it prints."""
    done = subprocess.run([sys.executable, "-c", HERE + code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout.split()


def ended(process):
    """Tell whether a process ends in time; one that nobody waited for counts as ended."""
    last = time.monotonic() + WAIT_S
    while time.monotonic() < last:
        try:
            state = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()[0]
        except OSError:
            return True
        if state == "Z":
            return True
        time.sleep(0.05)
    return False


def test_one_process_is_this_one():
    assert list(side_by_side([os.getpid] * 2, jobs=1)) == [os.getpid()] * 2


def test_processes_give_what_their_calls_return_and_none_is_left():
    calls = [partial(pow, number, 2) for number in range(9)]
    assert sorted(side_by_side(calls, jobs=2)) == [number**2 for number in range(9)]
    out = ran(
        "calls = [partial(pow, number, 2) for number in range(9)]\n"
        "print(*sorted(side_by_side(calls, jobs=2)), threading.active_count())\n"
        "print(len(set(side_by_side([os.getpid] * 9, jobs=2)) - {os.getpid()}) > 0)"
    )
    assert out == [*(f"{number**2}" for number in range(9)), "1", "True"]


@pytest.mark.skipif(sys.platform != "linux", reason="processes are forked on Linux alone")
def test_what_begins_processes_anew_is_not_loaded_where_they_are_forked():
    assert ran("print(len(list(side_by_side([os.getpid] * 2, jobs=2))), 'joblib' in sys.modules)") == [
        "2",
        "False",
    ]


@pytest.mark.skipif(sys.platform != "linux", reason="processes are forked on Linux alone")
def test_forked_processes_share_what_is_loaded_and_others_do_not():
    code = (
        "import json.tool\n"
        "call = partial(eval, \"'json.tool' in __import__('sys').modules\")\n"
        "print(*side_by_side([call], jobs=2))\n"
        "other = threading.Event(); threading.Thread(target=other.wait).start()\n"
        "print(*side_by_side([call], jobs=2)); other.set()"
    )
    assert ran(code) == ["True", "False"]


@pytest.mark.skipif(sys.platform != "linux", reason="processes are forked on Linux alone")
@pytest.mark.parametrize("how", ["killed", "left alone"])
def test_forked_processes_end_with_the_one_they_were_forked_from(how):
    code = (
        "calls = [os.getpid, os.getpid, partial(time.sleep, 600), partial(time.sleep, 600)]\n"
        "results = side_by_side(calls, jobs=2)\n"
        "print(next(results), next(results), flush=True)\n"
    ) + ("time.sleep(600)" if how == "killed" else "results.close(); print('closed', flush=True)")
    with subprocess.Popen([sys.executable, "-c", HERE + code], stdout=subprocess.PIPE, text=True) as first:
        forked = {int(one) for one in first.stdout.readline().split()}
        if how == "killed":
            first.send_signal(signal.SIGKILL)
        else:
            assert first.stdout.readline() == "closed\n"
            assert first.wait(WAIT_S) == 0
    assert all(ended(one) for one in forked)


KILLED = """
from charprobe.values.errors import SessionError
calls = [os.getpid, *[partial(signal.raise_signal, 9)] * 3]
try:
    list(side_by_side(calls, jobs=2))
except SessionError as error:
    print(error)
"""


@pytest.mark.parametrize(
    "beside", ["", "threading.Thread(target=time.sleep, args=(20,), daemon=True).start()\n"]
)
def test_a_process_that_is_killed_is_told(beside):
    words = " ".join(ran(beside + KILLED))
    assert "ended from outside" in words
    assert "run the same command again" in words


def test_an_error_of_a_call_comes_back_and_the_others_end():
    calls = [partial(time.sleep, 0.01), partial(int, "no number")]
    with pytest.raises(ValueError, match="no number"):
        list(side_by_side(calls, jobs=2))


def test_nothing_is_forked_beside_another_thread(monkeypatch):
    def forked(count):
        raise AssertionError("a lock that the other thread holds would be held for ever")

    monkeypatch.setattr(side_by_side_file, "_forked", forked)
    other = threading.Event()
    thread = threading.Thread(target=other.wait)
    thread.start()
    try:
        assert list(side_by_side([partial(pow, 3, 2)], jobs=2)) == [9]
        assert Parallel(n_jobs=2)([delayed(pow)(3, 2)] * 2) == [9, 9]  # joblib's own processes are its own
    finally:
        other.set()
        thread.join()
