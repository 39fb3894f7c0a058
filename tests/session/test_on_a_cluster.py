"""A session on a cluster that the user already has: here a local one of two processes, on no network."""

import joblib
import pytest
from distributed import Client, LocalCluster

from charprobe.session.file import load_session
from charprobe.session.run import run_session


@pytest.fixture
def cluster(tmp_path):
    with (
        LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, local_directory=tmp_path / "workers"
        ) as local,
        Client(local) as client,
    ):
        yield client


def test_the_active_backend_of_joblib_does_the_work(cluster, captured, tmp_path):
    session, seen = load_session(captured / "s.toml"), []
    with joblib.parallel_config(backend="dask"):
        result = run_session(
            session, tmp_path / "out", jobs=2, progress=lambda part, total: seen.append(total)
        )
    assert (result.measured, result.kept, result.failures) == (6, 0, ())
    assert seen == [6] * 6
    alone = run_session(session, tmp_path / "alone", jobs=1, progress=lambda part, total: None)
    assert [p.to_json() for p in result.profiles] == [p.to_json() for p in alone.profiles]
    again = run_session(session, tmp_path / "out", jobs=2, progress=lambda part, total: None)
    assert (again.measured, again.kept) == (0, 6)
