import re
from dataclasses import replace

import pytest

from charprobe.bench.advice import advise
from charprobe.bench.probe import ChannelProbe
from charprobe.bench.probe_sound import LEVELS_DBFS
from tests.bench.rigs import patch

PLAIN = ChannelProbe(1, -46.0, -100.0, -6.0, 0.01, 1, False, 0.0, -6.0, 0.0, (0,), 0.0)
DEAF = replace(PLAIN, gain_db=None, delay_s=None, hears=())
ONE = patch(outputs=(1,), inputs=(1,))


def steps_of(ceiling_dbfs, gain_db=lambda level: 0.0):
    """Steps of a loop with a gain at each level, cut at a ceiling, up to the first that is cut."""
    steps = []
    for level in LEVELS_DBFS:
        peak = min(level + gain_db(level), ceiling_dbfs)
        steps.append((replace(PLAIN, peak_dbfs=peak, gain_db=gain_db(level), clipped=peak == ceiling_dbfs),))
        if steps[-1][0].clipped:
            break
    return steps


def test_a_recorder_that_clips_is_turned_down_by_what_the_top_step_would_need():
    steps = steps_of(0.0, lambda level: 8.0)
    assert LEVELS_DBFS[len(steps) - 1] == -6.0
    advice = advise(steps, ONE)
    assert "clips at -6 dBFS" in advice.stop
    assert "down by 10 dB" in advice.stop  # -1 dBFS played and 8 dB of gain make +7, and 3 dB of room
    assert advice.level_db == -12.0 + 1.0


def test_a_stage_that_compresses_is_not_asked_for_more_room_than_it_fills():
    def gain_db(level):
        return 10.0 - 0.75 * max(0.0, level + 30.0)  # 4:1 above -30 dBFS

    assert advise(steps_of(0.0, gain_db), ONE).stop == ""
    cut = steps_of(-14.0, gain_db)
    assert "down by" not in advise(cut, ONE).stop  # below full scale it is not the recorder that clips
    hot = steps_of(0.0, lambda level: gain_db(level) + 14.5)
    assert (
        "down by 5 dB" in advise(hot, ONE).stop
    )  # the top step: -1 + 24.5 - 0.75 * 29 = 1.75, and 3 dB of room


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"held_db": -2.0}, "input 1: the soft sweep comes .2.0 dB, half a second after .*automatic gain"),
        ({"moved_db": 1.0}, "steady tone moves by \\+1.0 dB"),
        ({"muted_db": 25.0}, "25 dB lower in silence .*idle mute"),
        ({"polarity": -1}, "inverted"),
    ],
)
def test_what_is_wrong_with_an_input_is_said(changed, says):
    (text,) = ["\n".join(advise([(replace(PLAIN, **changed),)], ONE).lines)]
    assert re.search(says, text), text


def test_a_gain_turned_between_two_steps_is_noticed():
    lines = advise([(PLAIN,), (replace(PLAIN, sweep_db=-5.0),)], ONE).lines
    assert any("+1.0 dB against the first step" in line for line in lines)


@pytest.mark.parametrize(
    ("hears", "says"),
    [
        (((1,), (0,)), "exchanged.*--inputs 2,1"),
        (((0,), (0,)), "inputs 1 and 2 hear output 1 alone"),
        (((0, 1), (1,)), "input 1 hears outputs 1 and 2 together"),
        (((0,), ()), "output 2 is heard on no input"),
        (((0,), (1,)), ""),
    ],
)
def test_cables_that_are_not_as_meant_are_named(hears, says):
    step = tuple(
        replace(PLAIN, channel=n + 1, hears=one, gain_db=-6.0 if one else None) for n, one in enumerate(hears)
    )
    text = "\n".join(advise([step], patch()).lines[2:])
    assert re.search(says, text) if says else text == "", text


def test_an_open_cable_stops_the_probe_before_it_gets_loud():
    assert advise([(DEAF,)], ONE).stop == ""
    assert "no input hears" in advise([(DEAF,), (DEAF,)], ONE).stop
