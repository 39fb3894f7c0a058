from dataclasses import replace

import pytest

from charprobe.replica.predict import Prediction
from charprobe.replica.words import sentence, table

FIRM = Prediction(
    "Drum", "drums", -6.0, 5.0, 5.0, 9.0, 1.0, -2.0, 3.0, 4.0, 0.15, -40.0, False, attack_share=0.5
)


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({}, "slow on attacks and firm on drums peaking at −6 dBFS: 5 dB on average, 9 dB at most"),
        (
            {},
            "attacks stand 3 dB further out; a strong stroke holds it down for 150 ms; 2.0 LU softer; colour at −40 dB",
        ),
        ({"mean_db": 8.0}, "and hard on"),
        (
            {"attack_through_db": 0.9},
            "slow on attacks and firm",
        ),  # as with the drive at which 3 dB get through
        ({"attack_share": 0.1}, "quick and firm"),
        ({"mean_db": 0.1, "most_db": 0.3}, "does not reduce drums"),
        ({"beyond": True}, "a guess: louder than it was measured"),
        ({"poor": True}, "a guess: the replica does not meet the setting"),
        ({"beyond": True, "poor": True}, "measured and the replica does not"),
        ({"mean_db": -4.0, "most_db": 0.1}, "lifts drums peaking at −6 dBFS by 4 dB on average"),
        ({"setting": "a\nb"}, "a↵b"),
    ],
)
def test_a_sentence_says_what_the_numbers_do(changed, says):
    assert says in sentence(replace(FIRM, **changed))


def test_a_table_has_a_row_for_each_and_a_dash_where_there_is_no_number():
    lines = table([FIRM, replace(FIRM, setting="a longer name", distortion_db=None)]).splitlines()
    assert len({line.index("drums") for line in lines[1:]}) == 1
    assert lines[2].endswith("–")
