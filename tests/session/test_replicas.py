from made_profiles import B, made_profile

from charprobe.replica.fitting import fit
from charprobe.session.replicas import with_replica
from charprobe.values.errors import ReplicaError


def test_where_no_model_can_be_fitted_the_profile_stays_and_says_why(tmp_path, monkeypatch):
    def fails(*_):
        raise ReplicaError("the stage expands below −50 dBFS")

    monkeypatch.setattr(fit, "fit_judged", fails)
    profile = made_profile(B)
    told = with_replica(None, None, profile, tmp_path / "b.replica.json")
    assert told.findings == (*profile.findings, "No replica: the stage expands below −50 dBFS")
    assert told.quantities == profile.quantities
    assert not list(tmp_path.iterdir())
