"""A session on a cluster that the user already has: here a local one of one other process, on no network."""

import os
import sys

import pytest
from distributed import LocalCluster

from charprobe.session import cluster as at_work
from charprobe.session.file import load_session
from charprobe.session.run import measure_parts
from charprobe.session.side_by_side import side_by_side
from charprobe.values.errors import SessionError


@pytest.fixture
def cluster(tmp_path):
    with LocalCluster(
        n_workers=1, threads_per_worker=1, dashboard_address=None, local_directory=tmp_path / "workers"
    ) as local:
        yield local.scheduler_address


def test_a_cluster_does_the_work(cluster, captured, tmp_path):
    session, seen = load_session(captured / "s.toml"), []
    here = os.getpid()
    with at_work.on_cluster(cluster) as jobs:
        assert jobs == 1
        (there,) = side_by_side([os.getpid], jobs=jobs)
        result = measure_parts(session, tmp_path / "out", jobs=jobs, progress=seen.append)
    assert there != here
    assert list(side_by_side([os.getpid], jobs=jobs)) == [here]  # behind it, as before
    assert (result.measured, result.kept, result.failures) == (6, 0, ())
    assert sorted(outcome.profile.name for outcome in seen) == sorted(
        path.name for path in (tmp_path / "out" / "profiles").glob("*.json")
    )
    assert len(seen) == 6
    alone = measure_parts(session, tmp_path / "alone", jobs=1, progress=lambda outcome: None)
    assert [p.to_json() for p in result.profiles] == [p.to_json() for p in alone.profiles]
    again = measure_parts(session, tmp_path / "out", jobs=2, progress=lambda outcome: None)
    assert (again.measured, again.kept) == (0, 6)


def test_where_no_scheduler_answers_it_is_said(monkeypatch):
    monkeypatch.setattr(at_work, "WAIT_S", 0.2)
    with (
        pytest.raises(SessionError, match=r"no Dask scheduler answers there .* Nothing was measured"),
        at_work.on_cluster("tcp://127.0.0.1:9"),
    ):
        pass


def test_a_missing_extra_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(SessionError, match=r"charprobe\[cluster\]"), at_work.on_cluster("tcp://127.0.0.1:9"):
        pass
