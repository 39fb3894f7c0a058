import json

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from charprobe.cli import main
from charprobe.files.sound.sound_file import write_wav
from charprobe.listening.blind.key import read_key
from charprobe.stimulus.kinds.material import generate

RATE_HZ = 48_000


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """A dry take, and the same squashed, turned up, inverted and late."""
    folder = tmp_path_factory.mktemp("takes")
    dry = generate("music", seconds=5.0, rate_hz=RATE_HZ, rng=np.random.default_rng(3))
    wet = -np.tanh(2.5 * np.concatenate([np.zeros(30), dry])) / 1.2
    for name, samples in (("dry", dry), ("wet", wet)):
        write_wav(folder / f"{name}.wav", samples, rate_hz=RATE_HZ, subtype="float32", force=False)
    return folder


@pytest.fixture(scope="module")
def pair(files):
    """What `ab` wrote for the two, and what it said."""
    out = files / "pair"
    done = run("ab", files / "dry.wav", files / "wet.wav", "--out", out, "--figures", files / "figures")
    assert done.exit_code == 0, done.output
    return out, done.output


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


def test_ab_writes_the_pair_and_says_what_it_found(files, pair):
    out, said = pair
    assert "Delay 30.000 samples" in said
    assert "inverted" in said
    assert {path.name for path in out.iterdir()} == {
        "dry.wav", "processed.wav", "difference.wav", "pair.json", "gain.csv",
    }  # fmt: skip
    assert len(list((files / "figures").iterdir())) == 16
    body = json.loads((out / "pair.json").read_text())
    assert abs(body["match"]["after_db"]["loudness"]) <= 0.02
    assert body["polarity"] == -1
    dry, wet = (soundfile.read(out / f"{name}.wav")[0] for name in ("dry", "processed"))
    assert np.corrcoef(dry, wet)[0, 1] > 0.8  # the right way up, and in time


def test_ab_stops_on_swapped_files_and_leaves_nothing(files, tmp_path):
    done = run("ab", files / "wet.wav", files / "dry.wav", "--out", tmp_path / "out")
    assert done.exit_code == 1
    assert "look swapped" in done.output
    assert not list((tmp_path / "out").iterdir())
    assert (
        run(
            "ab", files / "wet.wav", files / "dry.wav", "--out", tmp_path / "out", "--roles-as-named"
        ).exit_code
        == 0
    )


def test_ab_never_writes_over_files_unasked(files, pair):
    done = run("ab", files / "dry.wav", files / "wet.wav", "--out", pair[0])
    assert done.exit_code == 1
    assert "--force" in done.output


def test_blind_make_and_score_from_end_to_end(pair, tmp_path):
    words = ["blind", "make", pair[0], "--out", tmp_path / "pack", "--key", tmp_path / "key.json"]
    done = run(*words, "--length", 2, "--trials", 8, "--controls", 1)
    assert done.exit_code == 0, done.output
    key, seal = read_key(tmp_path / "key.json")
    assert seal in done.output
    answers = [{"answer": trial.middle, "sure": 2} for trial in key.trials]
    result = {
        "schema": "charprobe.blind-result/1",
        "pack": key.pack,
        "seal": seal,
        "attempt": 1,
        "answers": answers,
    }
    (tmp_path / "result.json").write_text(json.dumps(result))
    scored = run("blind", "score", tmp_path / "result.json", "--key", tmp_path / "key.json")
    assert scored.exit_code == 0, scored.output
    assert scored.output.startswith(
        "8 of 8 right, 63 to 100 % in the long run (95 % interval); guessing gives that many"
    )
    as_json = run("blind", "score", tmp_path / "result.json", "--key", tmp_path / "key.json", "--json")
    assert json.loads(as_json.output)["probability"] == pytest.approx(2**-8)
    again = run(*words, "--length", 2)
    assert again.exit_code == 1
    assert "--force" in again.output


def test_misuse_exits_2(files):
    assert run("blind", "make", files).exit_code == 2
    assert run("ab", files / "dry.wav").exit_code == 2
    assert run("blind", "make", files, "--out", "x", "--key", "y", "--trials", 3).exit_code == 2


def test_a_folder_without_a_pair_is_refused(tmp_path):
    done = run("blind", "make", tmp_path, "--out", tmp_path / "pack", "--key", tmp_path / "key.json")
    assert done.exit_code == 1
    assert "dry.wav" in done.output
    assert not (tmp_path / "key.json").exists()
