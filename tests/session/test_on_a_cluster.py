"""A session on a cluster that the user already has: here a local one of two processes, on no network."""

import joblib
import pytest
from distributed import Client, LocalCluster

from charprobe.session.file import load_session
from charprobe.session.run import measure_parts


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
        result = measure_parts(session, tmp_path / "out", jobs=2, progress=seen.append)
    assert (result.measured, result.kept, result.failures) == (6, 0, ())
    assert sorted(outcome.profile.name for outcome in seen) == sorted(
        path.name for path in (tmp_path / "out" / "profiles").glob("*.json")
    )
    assert len(seen) == 6
    alone = measure_parts(session, tmp_path / "alone", jobs=1, progress=lambda outcome: None)
    assert [p.to_json() for p in result.profiles] == [p.to_json() for p in alone.profiles]
    again = measure_parts(session, tmp_path / "out", jobs=2, progress=lambda outcome: None)
    assert (again.measured, again.kept) == (0, 6)
