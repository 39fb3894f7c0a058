import json

import pytest

from charprobe.listening.blind.key import BlindError, Key, Trial, read_key, seal_of

KEY = Key(
    "a1", "b2", (Trial("dry", "processed", "left"),), {"x.wav": "dry"}, {"dry": "0" * 64}, 1.5, 4.0, 0.05
)


def test_a_key_comes_back_with_the_seal_of_its_bytes(tmp_path):
    (tmp_path / "key.json").write_bytes(KEY.as_bytes())
    assert read_key(tmp_path / "key.json") == (KEY, seal_of(KEY.as_bytes()))


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"trials": []}, r"`trials` is \[\]; allowed: 1 to 1000 entries; use the key file as it was written"),
        (
            {"trials": [{"left": "dry", "right": "wet", "middle": "left"}]},
            'trial 1: `right` is .wet.; allowed: "dry" or',
        ),
        ({"level": 0.9}, "`level` is 0.9; allowed: a number from 1e-06 to 0.5"),
        ({"sounds": {"x.wav": 1}}, "sounds: `x.wav` is 1; allowed: text"),
        ({"start_s": True}, r"`start_s` is True; allowed: a number from 0 to 1e\+06"),
        ({"nonce": None}, "`nonce` is missing; allowed: text"),
        ({"more": 1}, "there is no key `more`"),
        ({"schema": "x"}, "not a key of a blind pack: .* check which file belongs here"),
    ],
)
def test_a_damaged_key_is_refused_with_its_place(changes, message, tmp_path):
    (tmp_path / "key.json").write_text(json.dumps(json.loads(KEY.as_bytes()) | changes))
    with pytest.raises(BlindError, match=message):
        read_key(tmp_path / "key.json")
