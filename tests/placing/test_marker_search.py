"""Finding markers in a file."""

import numpy as np
import pytest
from played import RATE_HZ, capture, recorded, short_stimulus

from charprobe.files.sound.source import MemoryCapture
from charprobe.placing.marker_search import LEAST_MATCH, search
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render

STIMULUS = short_stimulus()


def found(samples, **more):
    return search(capture(samples), 0, start=0, stop=len(samples), marker_rate_hz=RATE_HZ, **more)


def test_both_markers_at_their_sample(rng):
    hits = found(recorded(STIMULUS, delay=1000.0, noise=rng))
    assert [(h.marker, h.index) for h in hits] == [
        ("opening", 1000 + STIMULUS.opening.start),
        ("closing", 1000 + STIMULUS.closing.start),
    ]
    assert all(h.match > 0.999 and h.polarity == 1 for h in hits)


@pytest.mark.parametrize("recipe", ["quick", "static", "colour"])
def test_nothing_else_in_a_shipped_stimulus_looks_like_a_marker(recipe):
    stimulus = lay_out(load_recipe(recipe), rate_hz=RATE_HZ, take=0)
    samples = render(stimulus)
    assert len(found(samples)) == 2
    assert found(samples[::-1]) == ()
    assert len(found(samples[::-1], backwards=True)) == 2


def test_noise_never_looks_like_a_marker(rng):
    hits = found(rng.normal(0, 0.1, 60 * RATE_HZ))
    assert hits == ()
    assert LEAST_MATCH > 0.0116 * 10  # ten sigma of white noise: 1 / sqrt(2 * 14 800 Hz * 0.25 s)


def test_a_marker_below_the_noise_is_found(rng):
    hits = found(recorded(STIMULUS, delay=1000.0, noise=rng, noise_dbfs=-28.0))  # 8 dB above the chirp
    openings = [h for h in hits if h.marker == "opening"]
    assert len(openings) == 1 and abs(openings[0].index - 1000 - STIMULUS.opening.start) <= 1


def test_hum_and_offset_do_not_hide_a_marker(rng):
    samples = recorded(STIMULUS, delay=1000.0, noise=rng)
    samples = samples + 0.3 + 0.3 * np.sin(2 * np.pi * 50 * np.arange(samples.size) / RATE_HZ)
    assert [h.index for h in found(samples)] == [1000 + STIMULUS.opening.start, 1000 + STIMULUS.closing.start]


class Counting(MemoryCapture):
    """Counts how much is read at once."""

    largest = 0

    def read(self, start, stop, channel):
        self.largest = max(self.largest, stop - start)
        return super().read(start, stop, channel)


def test_memory_does_not_grow_with_the_file(rng):
    source = Counting(rng.normal(0, 0.1, (60 * RATE_HZ, 2)), rate_hz=RATE_HZ, name="long.wav")
    search(source, 1, start=0, stop=source.frames, marker_rate_hz=RATE_HZ)
    assert source.largest <= 2**18
