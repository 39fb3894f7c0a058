import os
import pty
import signal
import threading

import pytest

from charprobe.bench.stopping import Ended, signals_heard


@pytest.fixture
def ignored():
    """As a job that a script starts in the background."""
    before = {number: signal.signal(number, signal.SIG_IGN) for number in (signal.SIGINT, signal.SIGTERM)}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


def test_ctrl_c_and_the_wish_to_end_are_heard_where_both_were_ignored(ignored):
    with pytest.raises(KeyboardInterrupt), signals_heard():
        os.kill(os.getpid(), signal.SIGINT)
    with pytest.raises(Ended, match="SIGTERM"), signals_heard():
        os.kill(os.getpid(), signal.SIGTERM)
    assert signal.getsignal(signal.SIGINT) == signal.getsignal(signal.SIGTERM) == signal.SIG_IGN


def test_a_handler_of_the_callers_own_and_a_hang_up_that_is_ignored_stay(monkeypatch):
    heard = []
    own = signal.signal(signal.SIGINT, lambda *_: heard.append(1))
    hangs = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with signals_heard():
            os.kill(os.getpid(), signal.SIGINT)
            os.kill(os.getpid(), signal.SIGHUP)
    finally:
        signal.signal(signal.SIGINT, own)
        signal.signal(signal.SIGHUP, hangs)
    assert heard == [1]


def test_another_thread_is_left_in_peace():
    done = []

    def run():
        with signals_heard():
            done.append(signal.getsignal(signal.SIGTERM))

    before = signal.getsignal(signal.SIGTERM)
    thread = threading.Thread(target=run)
    thread.start()
    thread.join()
    assert done == [before]


def test_words_to_a_terminal_that_is_gone_are_no_error():
    pid, terminal = pty.fork()
    if pid == 0:
        code = 1
        try:
            signal.signal(signal.SIGHUP, signal.SIG_DFL)
            with signals_heard():
                os.write(1, b"up")
                signal.pause()
        except Ended:
            os.write(2, b"words")
            code = 0
        finally:
            os._exit(code)
    assert os.read(terminal, 2) == b"up"
    os.close(terminal)
    assert os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) == 0
