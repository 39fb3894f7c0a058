"""Cells made in closed form: colour that does not depend on frequency, ripple that falls with it."""

import numpy as np
import pytest

from charprobe.estimators.colour.harmonic_cell import HarmonicCell
from charprobe.estimators.colour.ripple import split_ripple
from charprobe.estimators.passage import Passage
from charprobe.estimators.tone import ToneFit
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.quantity import Quantity

FREQUENCIES_HZ = (110.0, 997.0, 5003.0)
STD = 1e-6


def cell(frequency_hz, ratios, std=STD):
    ratios = np.asarray(ratios, dtype=complex)
    amplitudes = np.concatenate([[0.3 + 0j], 0.3 * ratios])
    fit = ToneFit(frequency_hz, 0.0, 0.0, amplitudes, np.full(amplitudes.size, 0.3 * std))
    return HarmonicCell(
        Tone(0, 9600, frequency_hz, -10.0, 0.0, 240, 0),
        fit,
        ratios,
        np.full(ratios.size, std),
        np.zeros(ratios.size),
    )


def level(colour, ripple, corner_hz, rng):
    cells = []
    for f in FREQUENCIES_HZ:
        third = colour + ripple / (1 + 1j * f / corner_hz)
        noise = STD * (rng.normal(size=3) + 1j * rng.normal(size=3))
        cells.append(cell(f, np.array([0, third, 0]) + noise))
    return cells


def test_ripple_alone_leaves_no_colour(rng):
    (split,) = split_ripple([level(0, 0.08, 6.0, rng)])
    assert abs(split.colour[1]) < 4 * split.colour_stds[1]
    share = split.share(split.cells[1])
    assert isinstance(share, Quantity) and share.high == 100 and share.value > 95


def test_ripple_of_two_smoothings_is_all_of_what_is_known_to_be_no_colour(rng):
    falls = [1e-3 * (110.0 / f) ** 2 for f in FREQUENCIES_HZ]
    noise = STD * (rng.normal(size=(3, 2)) @ [1, 1j])
    (split,) = split_ripple(
        [[cell(f, [0, a + n, 0]) for f, a, n in zip(FREQUENCIES_HZ, falls, noise, strict=True)]]
    )
    assert split.share(split.cells[0]).high < 95  # as one smoothing would have it
    share = split.share(split.cells[0], uncoloured=True)
    assert share.value > 95 and share.high == 100


def test_colour_alone_leaves_no_ripple(rng):
    (split,) = split_ripple([level(-2e-3, 0, 6.0, rng)])
    assert split.colour[1] == pytest.approx(-2e-3, abs=1e-4)  # each harmonic is trusted to 3 %
    share = split.share(split.cells[1])
    assert share.low == 0 and share.value < 5
    assert split.share(split.cells[1], uncoloured=True).value < 5  # it does not fall with frequency


def test_a_mixture_is_divided_at_every_level_with_one_corner(rng):
    splits = split_ripple([level(-1e-3, 0.08, 6.0, rng), level(-4e-3, 0.08, 6.0, rng)])
    assert splits[0].corner_hz == splits[1].corner_hz
    for split, colour in zip(splits, (-1e-3, -4e-3), strict=True):
        assert abs(split.colour[1] - colour) < 4 * split.colour_stds[1]
        assert abs(split.colour[1]) > 4 * split.colour_stds[1]
        ripple = 0.08 / (1 + 997j / 6.0)
        assert split.ripple_at(3, 997.0) == pytest.approx(ripple, rel=0.25)


def shelf(frequency_hz, corner_hz=5000.0, gain_db=3.0):
    """A first-order treble shelf in closed form."""
    high = 10 ** (gain_db / 20)
    s = 1j * np.asarray(frequency_hz) / corner_hz
    return (1 + high * s) / (1 + s)


GRID_HZ = np.geomspace(20, 20_000, 121)
SHELF = Passage(GRID_HZ, 20 * np.log10(np.abs(shelf(GRID_HZ))), np.unwrap(np.angle(shelf(GRID_HZ))))


def behind_a_shelf(colour, ripple, corner_hz, rng):
    cells = []
    for f in FREQUENCIES_HZ:
        third = colour + ripple / (1 + 1j * f / corner_hz)
        third *= shelf(3 * f) / abs(shelf(f)) * np.exp(-3j * np.angle(shelf(f)))
        cells.append(cell(f, np.array([0, third, 0]) + STD * (rng.normal(size=3) + 1j * rng.normal(size=3))))
    return cells


def test_a_filter_behind_the_colour_is_not_taken_for_ripple(rng):
    (blind,) = split_ripple([behind_a_shelf(-2e-3, 0, 6.0, rng)])
    (split,) = split_ripple([behind_a_shelf(-2e-3, 0, 6.0, rng)], passage=SHELF)
    assert split.placed.place == "behind"
    assert split.colour[1] == pytest.approx(-2e-3, abs=1e-4)  # each harmonic is trusted to 3 %
    share = split.share(split.cells[1])
    assert share.low == 0 and share.value < 5
    assert split.colour_at(split.cells[2])[0][1] == pytest.approx(split.cells[2].ratios[1], rel=0.05)
    assert blind.share(blind.cells[1]).low > 0  # without the response the shelf passes for ripple


def test_ripple_through_a_filter_is_still_ripple(rng):
    (split,) = split_ripple([behind_a_shelf(0, 0.08, 6.0, rng)], passage=SHELF)
    share = split.share(split.cells[1])
    assert share.value > 90 and share.high == 100


def test_a_filter_ahead_changes_the_drive_of_each_frequency(rng):
    cells = [cell(f, [0, -2e-3 * abs(shelf(f)) ** 2, 0] + STD * rng.normal(size=3)) for f in FREQUENCIES_HZ]
    (split,) = split_ripple([cells], passage=SHELF)
    assert split.placed.place == "ahead"
    assert split.colour[1] == pytest.approx(-2e-3, abs=1e-4)


def test_a_flat_passage_changes_nothing(rng):
    flat = Passage(GRID_HZ, np.full(GRID_HZ.size, 0.02), np.zeros(GRID_HZ.size))
    (split,) = split_ripple([level(-2e-3, 0, 6.0, rng)], passage=flat)
    assert split.placed.place == "nowhere" and not split.others


def test_two_frequencies_are_too_few(rng):
    with pytest.raises(ValueError, match="at least 3"):
        split_ripple([level(0, 0.1, 6.0, rng)[:2]])
    assert split_ripple([]) == ()
