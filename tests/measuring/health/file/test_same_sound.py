from judged_captures import RATE, judged

from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render_sides


def test_either_side_of_a_stimulus_of_two_is_known_as_the_stimulus():
    stimulus = lay_out(load_recipe("link"), rate_hz=RATE, take=1)
    for channel in (0, 1):
        found = judged(render_sides(stimulus), stimulus, channel)[1]
        assert "equals-stimulus" in {item.code for item in found}
