"""Calls in several processes of this machine, or on the workers of a cluster."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import Pipe, get_context
from multiprocessing.connection import Connection
from typing import Any

from joblib import Parallel, effective_n_jobs  # type: ignore[import-untyped]  # ships no types
from joblib.externals.loky import get_reusable_executor  # type: ignore[import-untyped]  # likewise
from joblib.parallel import BACKENDS, DEFAULT_BACKEND, get_active_backend  # type: ignore[import-untyped]  # likewise

from charprobe.values.errors import SessionError


def side_by_side(calls: Iterable[tuple[Any, Any, Any]], *, jobs: int) -> Iterator[Any]:
    """Begin calls, as `joblib.delayed` makes them, in so many processes; give what they return once ready.

    One process is this one, which calls when it is asked. Where joblib's active backend is another than its
    own, such as a cluster's, that one does the work, and all comes at the end. While giving, `SessionError`
    if a process ended without a word.
    """
    if not isinstance(get_active_backend()[0], BACKENDS[DEFAULT_BACKEND]):
        return iter(Parallel(n_jobs=jobs)(calls))
    if effective_n_jobs(jobs) == 1:
        return (do(*given, **named) for do, given, named in calls)
    begun = _begun(tuple(calls), effective_n_jobs(jobs))
    next(begun)
    return begun


def _begun(calls: tuple[tuple[Any, Any, Any], ...], count: int) -> Iterator[Any]:
    """Begin all calls, give nothing, then what they return."""
    with workers(count) as pool:
        futures = [pool.submit(do, *given, **named) for do, given, named in calls]
        yield None
        for future in as_completed(futures):
            yield future.result()


@contextmanager
def workers(count: int) -> Iterator[Executor]:
    """Give so many processes, which end with this one at the latest; `SessionError` if one ended unasked.

    They are forked where that is safe (Linux, nothing else running in this process): they start at once and
    share the memory of what is loaded by then. Elsewhere they are begun anew.
    """
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
    pool = get_reusable_executor(max_workers=count, timeout=None)
    try:
        yield pool
    finally:
        pool.shutdown(kill_workers=True)  # joblib cannot go on with one that it did not begin
