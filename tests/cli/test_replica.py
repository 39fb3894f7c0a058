import json

import numpy as np
import pytest
from click.testing import CliRunner

from charprobe.cli import main
from charprobe.files.sound.sound_file import write_wav
from charprobe.replica.model import SCHEMA, Posterior, Proof, Replica
from charprobe.replica.parts import Bend, Cell, Chain, Detector, Smoothing
from charprobe.stimulus.kinds.material import generate

CELL = Cell(
    Detector("mean", 2.0, 0.002, 0.002), (Bend(-24.0, 0.75),), Smoothing(attack_s=0.005, release_s=0.12)
)


@pytest.fixture
def bench(tmp_path):
    Replica(
        schema=SCHEMA, setting="Vocal\n1", channel=1, rate_hz=48_000, chain=Chain(cell=CELL), posterior=Posterior(),
        lowest_dbfs=-60.0, highest_dbfs=0.0, highest_peak_dbfs=0.0, noise_dbfs=-110.0,
        proofs=(Proof("made-up speech", -60.0, 0.02, 1.0),),
    ).save(tmp_path / "v.replica.json")  # fmt: skip
    sound = generate("speech", seconds=2.0, rate_hz=32_000, rng=np.random.default_rng(1))
    write_wav(tmp_path / "dry.wav", sound, rate_hz=32_000, subtype="pcm24", force=False)
    return tmp_path


def run(*words, code=0):
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exit_code == code, result.output
    return result


def test_previewed_then_unprinted(bench):
    shown = run("preview", bench / "v.replica.json", bench / "dry.wav", "--out", bench / "p.wav")
    assert "60 dB below" in shown.stdout and str(bench / "p.wav") in shown.stderr
    found = json.loads(
        run("unprint", bench / "v.replica.json", bench / "p.wav", "--out", bench / "d.wav", "--json").stdout
    )
    assert found["error_db"] < found["bound_db"] < -30
    assert len(found["over_time"]["time_s"]) == len(found["over_time"]["bound_db"]) == 8
    again = run("unprint", bench / "v.replica.json", bench / "p.wav", "--out", bench / "d.wav", "--force")
    assert "estimate" in again.stdout and "Taken back" in again.stdout


def test_predictions_of_a_file_as_sentence_table_and_json(bench):
    words = ("predict", bench / "v.replica.json", "--material", bench / "dry.wav")
    assert "on dry.wav peaking at −3 dBFS" in run(*words).stdout
    assert len(run(*words, "--table").stdout.splitlines()) == 3  # head, row, how good the replica is
    (row,) = json.loads(run(*words, "--json").stdout)
    assert row["setting"] == "Vocal\n1" and row["most_db"] > row["mean_db"] > 0


@pytest.mark.parametrize("command", ["preview", "unprint"])
def test_what_is_no_replica_is_one_message(bench, command):
    (bench / "x.replica.json").write_text('{"schema": "charprobe-replica-1", "stages": 1000000000}')
    result = run(command, bench / "x.replica.json", bench / "dry.wav", "--out", bench / "o.wav", code=1)
    assert "stages" in result.stderr and "Traceback" not in result.output and not (bench / "o.wav").exists()
