"""Calls in several processes of this machine, or by an executor of another kind, such as a cluster's."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from contextvars import ContextVar
from multiprocessing import Pipe, get_context
from multiprocessing.connection import Connection
from typing import Any

from charprobe.values.errors import SessionError

_ELSEWHERE: ContextVar[Executor | None] = ContextVar("_ELSEWHERE", default=None)


@contextmanager
def elsewhere(pool: Executor) -> Iterator[None]:
    """Have calls that go side by side made by the workers of a pool while this lasts."""
    outer = _ELSEWHERE.set(pool)
    try:
        yield
    finally:
        _ELSEWHERE.reset(outer)


def side_by_side(calls: Sequence[Callable[[], Any]], *, jobs: int) -> Iterator[Any]:
    """Begin calls in so many processes, or `elsewhere`; give what they return once ready.

    One process is this one, which calls when it is asked. Giving, `SessionError` if a process ended unasked.
    """
    if jobs == 1 and _ELSEWHERE.get() is None:
        return (call() for call in calls)
    begun = _begun(calls, jobs)
    next(begun)
    return begun


def _begun(calls: Sequence[Callable[[], Any]], jobs: int) -> Iterator[Any]:
    """Begin all calls, give nothing, then what they return."""
    with workers(jobs) as pool:
        futures = [pool.submit(call) for call in calls]
        yield None
        for future in as_completed(futures):
            yield future.result()


@contextmanager
def workers(count: int) -> Iterator[Executor]:
    """Give so many processes, which end with this one at the latest, or those that stand `elsewhere`.

    `SessionError` if one ended unasked. They are forked where that is safe (Linux, nothing else running in
    this process): they start at once and share the memory of what is loaded by then; else begun anew.
    """
    if (pool := _ELSEWHERE.get()) is not None:
        yield pool
        return
    alone = sys.platform == "linux" and threading.active_count() == 1
    try:
        with _forked(count) if alone else _anew(count) as pool:
            yield pool
    except BrokenProcessPool:
        raise SessionError(
            "one of the processes that work side by side was ended from outside: the machine ran out of "
            "memory, or somebody stopped it. What was finished is kept: run the same command again, with "
            "--jobs 1 if memory is short"
        ) from None


@contextmanager
def _forked(count: int) -> Iterator[Executor]:
    until, ended = Pipe(duplex=False)
    pool = ProcessPoolExecutor(
        count, mp_context=get_context("fork"), initializer=_work_until, initargs=(until, ended)
    )
    try:
        yield pool
    finally:
        ended.close()
        pool.shutdown(cancel_futures=True)


def _work_until(until: Connection, ended: Connection) -> None:
    """End this process once the one it was forked from has closed `ended`, or is no more."""
    ended.close()  # this one's copy
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # from the terminal, which tells the first process too
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    threading.Thread(target=lambda: (until.poll(None), os._exit(1)), daemon=True).start()


@contextmanager
def _anew(count: int) -> Iterator[Executor]:
    # slow to import, and not needed where processes are forked
    from joblib.externals.loky import get_reusable_executor  # type: ignore[import-untyped]  # noqa: PLC0415

    pool = get_reusable_executor(max_workers=count, timeout=None)
    try:
        yield pool
    finally:
        pool.shutdown(kill_workers=True)  # joblib cannot go on with one that it did not begin
