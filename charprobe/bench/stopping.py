"""Signals that stop what sounds, heard even where the program was started with them ignored: it is loud."""

from __future__ import annotations

import contextlib
import os
import signal
import threading
from collections.abc import Iterator
from types import FrameType


class Ended(KeyboardInterrupt):
    """The system asked the program to end, or its terminal is gone: nobody is there to answer a question."""


@contextlib.contextmanager
def signals_heard() -> Iterator[None]:
    """Let Ctrl-C stop, and the system's wish or a lost terminal end, what runs inside.

    A job that a script starts in the background ignores Ctrl-C, and a lost terminal ends a program in the
    middle of a tone. A handler of the caller's own stays; so does a hang-up that is ignored (`nohup`).
    """
    if threading.current_thread() is not threading.main_thread():
        yield  # only the main thread hears signals
        return
    terminals = [descriptor for descriptor in (0, 1, 2) if os.isatty(descriptor)]

    def end(number: int, _: FrameType | None) -> None:
        if number != signal.SIGTERM:
            _turn_away(terminals)
        raise Ended(signal.Signals(number).name)

    wanted = {signal.SIGINT: signal.default_int_handler, signal.SIGTERM: end}
    if hasattr(signal, "SIGHUP") and signal.getsignal(signal.SIGHUP) != signal.SIG_IGN:
        wanted[signal.SIGHUP] = end
    before = {number: signal.getsignal(number) for number in wanted}
    unheard = {number for number, handler in before.items() if handler in (signal.SIG_IGN, signal.SIG_DFL)}
    for number in unheard:
        signal.signal(number, wanted[number])
    try:
        yield
    finally:
        for number in unheard:
            signal.signal(number, before[number])


def _turn_away(terminals: list[int]) -> None:
    """Let nothing go to a terminal that is gone: each word would be an error."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    for descriptor in terminals:
        os.dup2(nowhere, descriptor)
    os.close(nowhere)
