import pytest

from charprobe.replica.parts import Cell, Chain, Colour, Detector, Smoothing

REFUSED = [
    (lambda: Detector("peak", exponent=2.0), "exponent"),
    (lambda: Smoothing(release="shared", slow_s=1.0, domain="level"), "two stages on the domain"),
    (lambda: Smoothing(release="shared"), "slow_s"),
    (lambda: Cell(loop="feedback", lookahead_s=0.001), "lookahead_s"),
    (lambda: Colour(amplitude=(0.1,), odd_db=(), even_db=()), "of one length"),
    (lambda: Colour(amplitude=(0.2, 0.1), odd_db=(0.0, 0.0), even_db=(0.0, 0.0)), "rising"),
    (lambda: Chain(colour=Colour("in loop", (0.1,), (0.0,), (0.0,))), "feedback only"),
]


@pytest.mark.parametrize(("make", "says"), REFUSED)
def test_a_stage_that_cannot_be_is_refused(make, says):
    with pytest.raises(ValueError, match=says):
        make()
