"""A session on a cluster that the user already has."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from joblib import parallel_config  # type: ignore[import-untyped]  # ships no types

from charprobe.values.errors import SessionError

WAIT_S = 10


@contextmanager
def on_cluster(address: str) -> Iterator[None]:
    """Have captures measured by the workers of a Dask cluster instead of processes of this machine.

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
    with client, parallel_config(backend="dask"):
        yield
