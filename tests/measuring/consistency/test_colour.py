import pytest
from published_readings import bound, entries, ripple, taken_back, tones

from charprobe.measuring.consistency.judge import reconciled
from charprobe.profile.entry import Table


@pytest.mark.parametrize(
    ("share", "h3_dbc", "stays"), [(100, -60.5, True), (100, -40, False), (20, -60, False)]
)
def test_a_share_of_ripple_that_attack_and_release_deny_is_taken_back(share, h3_dbc, stays):
    read = entries(colour__ripple_share=share, colour__ripple_expected=-60.0)
    assert taken_back(read, ripple(h3_dbc, -60.0)) == (set() if stays else {"colour.ripple_share"})


def test_bounds_that_a_quieter_tone_breaks_are_taken_back():
    low = bound("colour.input_at_thd_minus60db", -2.0)
    kept, health = reconciled(low, tones(-70.0))
    assert not health and kept == low  # tones of another frequency are not what it speaks of
    kept, (item,) = reconciled(low, tones(-50.0))
    assert item.withholds == tuple(low) and not kept["colour.input_at_thd_minus60db"].reading.bounded
    kept, (item,) = reconciled(bound("colour.onset", -2.0), tones(-50.0, "colour"))
    assert item.withholds == ("colour.onset",)


def level_steps(last_db=0.0):
    columns = {
        "input_dbfs": [-11.0, -9.0],
        "gain_db": [0.0, last_db],
        "std_db": [0.001, 0.001],
        "used": [True, True],
        "frequency_hz": [997.0, 997.0],
    }
    return {"static": Table(columns, dict.fromkeys(columns, ""))}


def test_harmonics_of_a_tone_that_had_another_gain_than_the_steps_are_taken_back():
    steps = level_steps()
    read = entries(colour__h3_at_reference=-60.0, colour__thd_at_reference=-59.0)
    assert not taken_back(read, steps | tones(-59.0))
    assert taken_back(read, steps | tones(-59.0, fundamental_dbfs=-15.4)) == set(read)
    bent = level_steps(-1.5)  # a corner lies anywhere between the two
    assert not taken_back(read, bent | tones(-59.0, fundamental_dbfs=-10.0))


def test_a_threshold_said_to_lie_above_where_a_tone_is_reduced_already_is_taken_back():
    steps = level_steps() | tones(-59.0, fundamental_dbfs=-15.4)
    withheld = [reconciled(bound("static.threshold", level), steps)[1] for level in (-12.0, -16.0)]
    assert [[item.withholds for item in found] for found in withheld] == [[("static.threshold",)], [()]]
