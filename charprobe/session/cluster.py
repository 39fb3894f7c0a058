"""A session on a cluster that the user already has."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from charprobe.session.side_by_side import elsewhere
from charprobe.values.errors import SessionError

WAIT_S = 10


@contextmanager
def on_cluster(address: str) -> Iterator[int]:
    """Have captures measured by the workers of a Dask cluster; give how many it measures at the same time.

    `address` is of its scheduler, such as ``"tcp://bench-server:8786"``. Every worker sees captures and
    output folder under the same paths, and has this version of charprobe. `SessionError` if no scheduler
    answers there, or the extra ``charprobe[cluster]`` is not installed.
    """
    try:
        from distributed import Client  # noqa: PLC0415  # slow to import, and an extra
    except ImportError:
        raise SessionError(
            f"{address}: working on a cluster needs the extra `cluster`: pip install 'charprobe[cluster]'. "
            "Nothing was measured"
        ) from None
    try:
        client = Client(address, timeout=WAIT_S)  # type: ignore[no-untyped-call]  # of no types
    except (OSError, ValueError) as error:
        raise SessionError(
            f"{address}: no Dask scheduler answers there ({error}). Start one (`dask scheduler`) and workers "
            "that see the captures under the same paths (`dask worker ADDRESS`). Nothing was measured"
        ) from None
    with client, elsewhere(client.get_executor(pure=False)):  # type: ignore[no-untyped-call]  # of no types
        yield sum(client.nthreads().values())  # type: ignore[no-untyped-call]  # likewise
