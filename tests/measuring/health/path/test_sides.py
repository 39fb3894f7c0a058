import numpy as np
from judged_captures import RATE, judged

from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render_sides


def test_exchanged_channels_are_told_where_the_sides_differ(rng):
    stimulus = lay_out(load_recipe("link"), rate_hz=RATE, take=1)
    noise = 10 ** (-110 / 20) / np.sqrt(2)
    sound = 0.5 * np.pad(render_sides(stimulus), ((500, 500), (0, 0)))
    sound = sound + rng.normal(0, noise, sound.shape)
    for channel in (0, 1):
        right = [item.code for item in judged(sound, stimulus, channel)[1] if item.severity != "note"]
        wrong = [
            item.code for item in judged(sound[:, ::-1], stimulus, channel)[1] if item.severity != "note"
        ]
        assert (right, wrong) == ([], ["channel-swapped"])
