import dataclasses
import json

import jsonschema
import numpy as np
import pytest

from charprobe.files.checked_model import schema_of
from charprobe.replica.flat import value_at, with_values
from charprobe.replica.model import SCHEMA, Posterior, Proof, Replica, load_replica
from charprobe.replica.parts import Bend, Cell, Chain, Colour, Detector, Section, Smoothing
from charprobe.values.errors import ReplicaError

CHAIN = Chain(
    filter_in=(Section("low cut", 20.0),),
    cell=Cell(Detector("mean", 2.0, 0.003, 0.003), (Bend(-24.0, 0.75, 4.0),), Smoothing(attack_s=0.004, release_s=0.1)),
    colour=Colour(amplitude=(0.5, 1.0), odd_db=(-1.0, -4.0), even_db=(0.1, 0.2)),
)  # fmt: skip
PLACES = ("cell.bends.0.threshold_dbfs", "cell.smoothing.attack_s", "colour.odd_db.1")
REPLICA = Replica(
    schema=SCHEMA,
    setting="Vocal, gentle",
    channel=1,
    rate_hz=48_000,
    chain=CHAIN,
    posterior=Posterior(
        PLACES, (False, True, False), ((1e-4, 1e-5, 0.0), (1e-5, 4e-4, 0.0), (0.0, 0.0, 1e-6))
    ),
    lowest_dbfs=-60.0,
    highest_dbfs=0.0,
    highest_peak_dbfs=-1.0,
    noise_dbfs=-100.0,
    proofs=(Proof("made-up speech", -62.0, 0.02, 0.9999),),
)


def test_a_replica_is_read_as_it_was_written(tmp_path):
    REPLICA.save(tmp_path / "a.replica.json")
    assert load_replica(tmp_path / "a.replica.json") == REPLICA


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda t: t["chain"]["cell"]["smoothing"].update(attack_s=1e9), "attack_s.*0 to 60"),
        (lambda t: t["chain"].update(filter_in=t["chain"]["filter_in"] * 1000), "filter_in.*16"),
        (lambda t: t["chain"]["cell"].update(bends=t["chain"]["cell"]["bends"] * 4), "bends.*3"),
        (lambda t: t["chain"]["cell"]["detector"].update(kind="wavelet"), "kind.*peak"),
        (lambda t: t["chain"]["cell"].update(loop="feedback", lookahead_s=0.001), "lookahead_s.*feedback"),
        (lambda t: t["chain"]["colour"].update(amplitude=[1.0, 0.5]), "rising"),
        (lambda t: t["chain"]["colour"].update(place="in loop"), "feedback only"),
        (lambda t: t["chain"].update(polarity=0), "polarity.*-1"),
        (lambda t: t["posterior"].update(covariance=[[1.0]]), "one size"),
        (lambda t: t["posterior"]["covariance"][0].__setitem__(1, 5.0), "symmetric"),
        (lambda t: t["posterior"]["covariance"][2].__setitem__(2, -5.0), "covariance"),
        (lambda t: t["posterior"].update(places=["cell.magic", *PLACES[1:]]), "cell.magic"),
        (lambda t: t.update(stages=10**9), "there is no key `stages`"),
        (lambda t: t.update(schema="charprobe.profile/1"), "not a charprobe replica"),
    ],
)  # fmt: skip
def test_what_lies_outside_the_family_is_refused_by_one_message(change, says):
    table = json.loads(REPLICA.to_json())
    change(table)
    with pytest.raises(ReplicaError, match=says):
        Replica.from_json(json.dumps(table), source="a.replica.json")


@pytest.mark.parametrize(
    "text", ["", "[]", "{", '{"schema": NaN}', "[" * 5000, '{"schema": "charprobe-replica-1"}']
)
def test_what_is_no_replica_is_refused(text):
    with pytest.raises(ReplicaError, match=r"a\.replica\.json"):
        Replica.from_json(text, source="a.replica.json")


def test_nan_and_an_infinite_number_are_refused():
    for bad in ("NaN", "1e999"):
        text = REPLICA.to_json().replace("-24.0", bad, 1)
        with pytest.raises(ReplicaError, match="not strict JSON"):
            Replica.from_json(text, source="a")


def test_draws_scatter_as_the_covariance_says(rng):
    draws = REPLICA.drawn(4000, rng)
    rows = np.array([[value_at(chain, place) for place in PLACES] for chain in draws])
    rows[:, 1] = np.log(rows[:, 1] / 0.004)
    found = np.cov(rows.T)
    expected = np.array(REPLICA.posterior.covariance)
    np.testing.assert_allclose(np.diag(found), np.diag(expected), rtol=0.1)  # 4 sigma of 4000 draws
    assert found[0, 1] == pytest.approx(1e-5, abs=1.4e-5)  # 4 sigma: 4 sqrt(1e-4 * 4e-4 / 4000)
    assert dataclasses.replace(REPLICA, posterior=Posterior()).drawn(2, rng) == (CHAIN, CHAIN)


def test_numbers_are_put_at_their_places():
    moved = with_values(CHAIN, ["filter_in.0.frequency_hz", "colour.even_db.0"], [25.0, 0.3])
    assert (moved.filter_in[0].frequency_hz, moved.colour.even_db, moved.cell) == (
        25.0,
        (0.3, 0.2),
        CHAIN.cell,
    )


def test_the_schema_refuses_what_the_code_refuses():
    validator = jsonschema.Draft202012Validator(schema_of(Replica, title="replica"))
    table = json.loads(REPLICA.to_json())
    validator.validate(table)
    table["chain"]["cell"]["link"] = 2.0
    assert not validator.is_valid(table)
