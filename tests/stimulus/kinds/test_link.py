import numpy as np
import pytest
from one_segment import RATE_HZ, one

from charprobe.stimulus.kinds.link import Link

LINK = Link("sides", 1000.0, 3000.0, (-40.0, -20.0), -50.0, 0.4)


def size_dbfs(samples, hz):
    basis = np.exp(-2j * np.pi * hz / RATE_HZ * np.arange(samples.size))
    return 20 * np.log10(2 / samples.size * abs(samples @ basis))


@pytest.mark.parametrize("side", [1, 2])
def test_a_side_is_driven_in_its_own_half_and_holds_the_pilot_in_the_other(side):
    segment, first = one(LINK)
    samples = first if side == 1 else segment.render(rate_hz=RATE_HZ, side=2)
    driven, pilot = LINK.side_tones(segment.span, side, rate_hz=RATE_HZ)
    assert (driven[0].start < pilot[0].start) == (side == 1)
    for tone, hz, level in (
        *((tone, 1000.0, level) for tone, level in zip(driven, LINK.levels_dbfs, strict=True)),
        *((tone, 3000.0, -50.0) for tone in pilot),
    ):
        begin = tone.start - segment.span.start + round(0.1 * RATE_HZ)
        middle = samples[begin : begin + round(0.2 * RATE_HZ)]  # whole cycles
        assert size_dbfs(middle, hz) == pytest.approx(level, abs=1e-6)
        assert size_dbfs(middle, 4000.0 - hz) < -200  # nothing of the other tone


def test_one_side_is_driven_while_the_other_holds_the_pilot_then_the_halves_change():
    segment, _ = one(LINK)
    driven_1, pilot_1 = LINK.side_tones(segment.span, 1, rate_hz=RATE_HZ)
    driven_2, pilot_2 = LINK.side_tones(segment.span, 2, rate_hz=RATE_HZ)
    assert [tone.start for tone in driven_1] == [tone.start for tone in pilot_2]
    assert [tone.start for tone in driven_2] == [tone.start for tone in pilot_1]
    assert driven_2[0].start - driven_1[-1].stop == RATE_HZ  # a second for the first half to die away
    assert driven_2[-1].stop == segment.span.stop
