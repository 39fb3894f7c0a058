import numpy as np
from a_little_of_all import RECIPE
from judged_captures import RATE, clean_once, judged

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.health.path.sides import check_mid_side
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
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


def test_middle_and_side_of_a_processed_and_a_plain_input_are_told_and_left_and_right_are_not(rng):
    wet, dry = clean_once("feedforward-rms-hard"), clean_once("plain-wire")
    length = min(len(wet), len(dry))
    left_right = np.hstack([wet[:length], dry[:length]])
    middle_side = left_right @ np.array([[0.5, 0.5], [0.5, -0.5]])
    stimulus = lay_out(RECIPE, rate_hz=RATE, take=1)
    for samples, told in ((left_right, []), (middle_side, ["mid-side"]), (np.hstack([wet, 0.7 * wet]), [])):
        source = MemoryCapture(samples, rate_hz=RATE, name="two.wav")
        assert [item.code for item in check_mid_side(place_take(Track(source, 0, stimulus)))] == told
