import json
import math

import pytest

from charprobe.listening.blind.key import BlindError, Key, Trial, seal_of
from charprobe.listening.blind.score import guess_probability, needed_hits, pass_probability, score

TRIALS = (Trial("dry", "processed", "left"), Trial("processed", "dry", "right"), Trial("dry", "dry", "left"))
KEY = Key("a1", "b2", TRIALS, {"x.wav": "dry"}, {"dry": "0" * 64}, 1.5, 4.0, 0.05)


def scored(folder, **changes):
    (folder / "key.json").write_bytes(KEY.as_bytes())
    body = {
        "schema": "charprobe.blind-result/1", "pack": "a1", "seal": seal_of(KEY.as_bytes()), "started": "x", "finished": "y",
        "attempt": 1, "answers": [{"answer": "left", "sure": sure, "switches": 2, "seconds": 3.1} for sure in (2, 0, 2)],
    }  # fmt: skip
    (folder / "result.json").write_text(json.dumps(body | changes))
    return score(folder / "result.json", key_path=folder / "key.json")


def test_hits_and_controls_are_counted_apart(tmp_path):
    found = scored(tmp_path)
    assert (found.hits, found.trials, found.controls, found.sure_controls) == (1, 2, 1, 1)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        (
            {"answers": [{"answer": "middle"}] * 3},
            r"result\.json, answer 1: `answer` is 'middle'; allowed: \"left\" or \"right\"",
        ),
        (
            {"answers": [{"answer": "left", "sure": 3}] * 3},
            "`sure` is 3; allowed: a whole number from 0 to 2",
        ),
        ({"answers": "left"}, "`answers` is 'left'; allowed: up to 1000 entries"),
        ({"attempt": "first"}, "`attempt` is 'first'; allowed: a whole number of at least 1"),
        ({"score": 9}, "there is no key `score`; known keys: schema, pack, seal, answers"),
        (
            {"schema": "charprobe.blind-key/1"},
            "not a result of a blind session: .* check which file belongs here",
        ),
        ({"seal": "0"}, "not the key that was sealed"),
    ],
)
def test_a_result_that_the_page_did_not_save_is_refused(changes, message, tmp_path):
    with pytest.raises(BlindError, match=message):
        scored(tmp_path, **changes)


@pytest.mark.parametrize(
    ("trials", "needed", "power"),
    [(8, 7, 0.26), (10, 9, 0.15), (12, 10, 0.25), (16, 12, 0.45), (20, 15, 0.42), (25, 18, 0.51), (50, 32, 0.86), (100, 59, 0.99)],
)  # fmt: skip
def test_binomial_table(trials, needed, power):
    assert needed_hits(trials, level=0.05) == needed
    exact = sum(math.comb(trials, k) for k in range(needed, trials + 1)) / 2**trials
    assert guess_probability(needed, trials) == pytest.approx(exact, rel=1e-9)
    assert pass_probability(trials, level=0.05, share=0.7) == pytest.approx(
        power, abs=6e-3
    )  # table of two places
