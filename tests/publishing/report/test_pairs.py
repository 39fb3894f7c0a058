import dataclasses

from made_profiles import B, D, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.publishing.report.pairs import MOST_MATRIX, SIGNS, pairs_of


def test_every_pair_has_a_sign_on_every_topic():
    pairs = pairs_of(compare_profiles([made_profile(B), made_profile(D)]))
    assert pairs.columns == ["D – slower"]
    ((name, (cell,)),) = pairs.rows
    assert name == "B – slow"
    assert {one.word: SIGNS[one.verdict] for one in cell}["release"] == "≠"
    assert {one.word: SIGNS[one.verdict] for one in cell}["curve"] == "="


def test_too_many_settings_have_no_table():
    profiles = [made_profile(dataclasses.replace(B, name=f"s{i}")) for i in range(MOST_MATRIX + 1)]
    bare = [dataclasses.replace(one, curves={}) for one in profiles]
    assert pairs_of(compare_profiles(bare)) is None
