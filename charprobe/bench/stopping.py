"""Signals that end a command, heard so that it cleans up; what sounds hears those it should ignore too."""

from __future__ import annotations

import contextlib
import os
import signal
import threading
from collections.abc import Collection, Iterator
from types import FrameType


class Ended(KeyboardInterrupt):
    """The system asked the program to end, or its terminal is gone: nobody is there to answer a question."""


@contextlib.contextmanager
def endings_heard() -> Iterator[None]:
    """Let the system's wish or a lost terminal end what runs inside as Ctrl-C does."""
    with _heard(("SIGTERM", "SIGHUP"), instead_of={signal.SIG_DFL}):
        yield


@contextlib.contextmanager
def signals_heard() -> Iterator[None]:
    """Let Ctrl-C stop, and the system's wish or a lost terminal end, what sounds inside, even where ignored.

    A job that a script starts in the background ignores Ctrl-C, and a lost terminal ends a program in the
    middle of a tone. A handler of the caller's own stays; so does a hang-up that is ignored (`nohup`).
    """
    with endings_heard(), _heard(("SIGINT", "SIGTERM"), instead_of={signal.SIG_IGN, signal.SIG_DFL}):
        yield


@contextlib.contextmanager
def _heard(names: Collection[str], *, instead_of: Collection[object]) -> Iterator[None]:
    """Let signals, where this system has them, raise in place of the handlers named, until this ends."""
    if threading.current_thread() is not threading.main_thread():
        yield  # only the main thread hears signals
        return
    terminals = [descriptor for descriptor in (0, 1, 2) if os.isatty(descriptor)]

    def end(number: int, frame: FrameType | None) -> None:
        if number == signal.SIGINT:
            signal.default_int_handler(number, frame)
        if number != signal.SIGTERM:
            _turn_away(terminals)
        raise Ended(signal.Signals(number).name)

    numbers = [getattr(signal, name) for name in names if hasattr(signal, name)]
    before = {n: handler for n in numbers if (handler := signal.getsignal(n)) in instead_of}
    for number in before:
        signal.signal(number, end)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _turn_away(terminals: list[int]) -> None:
    """Let nothing go to a terminal that is gone: each word would be an error."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    for descriptor in terminals:
        os.dup2(nowhere, descriptor)
    os.close(nowhere)
