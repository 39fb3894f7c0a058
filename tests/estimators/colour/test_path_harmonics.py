"""What a bent converter adds: the stage's own harmonic lies inside its interval, whatever the signs."""

from dataclasses import replace

import numpy as np
import pytest
from known_harmonics import TONES, capture

from charprobe.estimators.colour.harmonics import measure_harmonics
from charprobe.estimators.colour.path_harmonics import through_path, with_path
from charprobe.estimators.response import Response
from charprobe.values.quantity import Quantity, Unmeasured

STAGE, PATH = 0.01, 0.004  # of x**2, which makes A / 2 of each of order 2 over the fundamental


def through(*bends, gain=1.0):
    def device(x):
        for at, bend in enumerate(bends):
            x = (gain if at == 1 else 1.0) * x
            x = x + bend * x**2
        return x

    return measure_harmonics(capture(device=device), tones=TONES)


def second(cell):
    return cell.level(2)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("gain", [1.0, 4.0, 0.25])
@pytest.mark.parametrize("player", [0.0, PATH])
def test_the_own_harmonic_of_a_stage_lies_inside_what_the_path_leaves_open(sign, gain, player):
    """A player before the stage, a recorder behind it that gets `gain` times as much."""
    recorder = sign * (0.0 if player else PATH)
    wet = through(sign * player + STAGE, recorder, gain=gain)
    dry = through(sign * player, recorder)
    for cell in wet:
        own_db = 20 * np.log10(STAGE * 10 ** (cell.tone.level_dbfs / 20) / 2)
        found = second(with_path(cell, dry))
        if isinstance(found, Quantity):
            assert found.low - 0.01 <= own_db <= found.high + 0.01, cell.tone  # products of the two bends
        else:
            assert isinstance(found, Unmeasured) and found.at_most >= own_db
        assert not second(cell).low <= own_db <= second(cell).high, "the path is not seen without its bypass"


def test_a_harmonic_no_larger_than_the_path_s_is_given_as_a_bound():
    wet, dry = through(-0.9 * PATH, PATH), through(0.0, PATH)
    found = second(with_path(wet[1], dry))
    assert isinstance(found, Unmeasured) and "the recording path itself makes as much" in found.reason
    assert found.at_most >= 20 * np.log10(0.9 * PATH * 10 ** (-10 / 20) / 2)


def test_an_order_between_two_of_the_path_is_doubted_and_a_clean_path_changes_nothing():
    def odd(x):
        return x + 0.01 * np.sin(6 * x)

    rigs = measure_harmonics(capture(device=odd), tones=TONES)
    cell = measure_harmonics(capture(), tones=TONES)[1]
    shares = with_path(cell, rigs).path_shares
    assert shares[2] >= min(shares[1], shares[3]) > 0
    assert with_path(cell, measure_harmonics(capture(device=lambda x: x), tones=TONES)).path_shares is None
    assert with_path(cell, ()) is cell


def test_the_own_harmonic_lies_inside_what_a_path_that_is_not_flat_leaves_open():
    cell = through(STAGE)[1]
    hz = np.geomspace(20, 20_000, 121)
    own_db, bend_db = second(cell).value, 0.2
    for behind in (0.0, 1.0):  # a bend before the stage passes harmonics by
        heard = replace(cell, ratios=cell.ratios * 10 ** (behind * bend_db / 20))
        above = np.where(hz > 1.5 * cell.tone.frequency_hz, 10 ** (bend_db / 20), 1.0)
        path = Response(hz, above.astype(complex), np.full(hz.size, 1e-6), 0 * hz, 0 * hz)
        found = second(through_path(heard, path))
        assert found.low - 0.01 <= own_db <= found.high + 0.01
        assert found.high - found.low < 2.5 * bend_db
    noisy = Response(hz, above.astype(complex), np.full(hz.size, 0.01), 0 * hz, 0 * hz)
    for flat in (None, noisy):  # what noise hides bends nothing
        assert second(through_path(cell, flat)) == second(cell)
