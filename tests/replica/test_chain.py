import numpy as np
import pytest

from charprobe.replica.chain import play, play_take, take_back
from charprobe.replica.flat import with_values
from charprobe.replica.parts import Bend, Cell, Chain, Colour, Detector, Section, Smoothing
from charprobe.values.errors import ReplicaError

RATE = 48_000
COLOUR = Colour(amplitude=(0.1, 0.3, 1.0), odd_db=(-0.1, -0.8, -5.0), even_db=(0.05, 0.1, 0.3))
CELL = Cell(
    Detector("mean", 2.0, 0.003, 0.003),
    (Bend(-24.0, 0.75, 4.0),),
    Smoothing(attack_s=0.004, release_s=0.1),
    makeup_db=3.0,
)
FEEDBACK = Cell(CELL.detector, (Bend(-24.0, 2.0),), CELL.smoothing, "feedback")
CHAINS = {
    "behind": Chain((Section("low cut", 60.0),), CELL, COLOUR, (Section("high shelf", 6000.0, 1, 2.0),), polarity=-1),
    "before": Chain((), CELL, Colour("before", *(COLOUR.amplitude, COLOUR.odd_db, COLOUR.even_db))),
    "in loop": Chain((), FEEDBACK, Colour("in loop", *(COLOUR.amplitude, COLOUR.odd_db, COLOUR.even_db), oversampled=False)),
}  # fmt: skip


def take(rng, channels=2):
    n = np.arange(30_000)
    fade = np.clip(np.minimum(n - 2000, 18_000 - n) / 6000, 0, 1)[:, None]  # silence for the filters' tails
    fade = np.sin(np.pi / 2 * fade) ** 4
    swell = np.exp(np.sin(n / 2000.0) - 1)[:, None]
    return (
        0.6
        * fade
        * swell
        * np.sin(2 * np.pi * np.outer(n, [220, 331][:channels]) / RATE + rng.uniform(0, 6, channels))
    )


@pytest.mark.parametrize("name", CHAINS)
def test_blocks_of_any_length_give_the_whole_take_and_it_comes_back(name, rng):
    sound = take(rng)
    whole = play_take(CHAINS[name], sound, rate_hz=RATE).sound
    cuts = np.split(sound, [7, 700, 701, 12_000, 29_990])
    pieces = np.concatenate(list(play(CHAINS[name], cuts, rate_hz=RATE)))
    np.testing.assert_allclose(pieces, whole, atol=1e-12)
    back = np.concatenate(list(take_back([CHAINS[name]], [whole], rate_hz=RATE)))
    ratio = np.linalg.norm(back - sound) / np.linalg.norm(sound)
    assert 20 * np.log10(ratio) < -60  # what the low cut took below 3 Hz stays away


def test_a_look_ahead_moves_the_gain_and_not_the_sound(rng):
    ahead = Chain(cell=Cell(CELL.detector, CELL.bends, CELL.smoothing, lookahead_s=0.005))
    plain = Chain(cell=Cell(CELL.detector, CELL.bends, CELL.smoothing))
    sound = take(rng, 1)
    late = play_take(plain, sound, rate_hz=RATE).gain_db[240:]
    found = np.concatenate(list(play(ahead, np.split(sound, [100, 5000]), rate_hz=RATE)))
    np.testing.assert_allclose(found[:-240], sound[:-240] * 10 ** (late / 20), atol=1e-12)
    assert found.shape == sound.shape


def test_the_same_chain_holds_at_another_rate():
    def through(rate_hz):
        t = np.arange(rate_hz) / rate_hz
        return play_take(CHAINS["behind"], 0.5 * np.sin(2 * np.pi * 500 * t), rate_hz=rate_hz).sound[:, 0]

    slow, fast = through(48_000), through(96_000)[::2]
    assert 20 * np.log10(np.std((slow - fast)[4000:]) / np.std(slow)) < -70  # ripple of the detector, sampled


def test_other_numbers_beside_the_first_change_what_is_found_as_they_would_alone(rng):
    chain, sound = CHAINS["behind"], take(rng, 1)
    other = with_values(chain, ["cell.bends.0.threshold_dbfs", "colour.odd_db.1"], [-24.01, -0.801])
    whole = play_take(chain, sound, rate_hz=RATE).sound
    both = np.concatenate(list(take_back([chain, other], [np.tile(whole, 2)], rate_hz=RATE)))
    alone = np.concatenate(list(take_back([other], [whole], rate_hz=RATE)))[:, 0]
    moved = np.linalg.norm(alone - both[:, 0])
    assert moved > 1e-4 * np.linalg.norm(sound)
    assert np.linalg.norm(both[:, 1] - alone) < 0.02 * moved  # colour of the second is undone to first order


def test_a_look_ahead_is_not_taken_back():
    with pytest.raises(ReplicaError, match="looks ahead"):
        take_back([Chain(cell=Cell(lookahead_s=0.001))], [np.zeros((9, 1))], rate_hz=RATE)
    part = take_back(
        [Chain(cell=Cell(lookahead_s=0.4 / RATE))], [np.ones((9, 1))], rate_hz=RATE
    )  # plays none
    np.testing.assert_array_equal(np.concatenate(list(part)), np.ones((9, 1)))


@pytest.mark.parametrize("place", ["behind", "before"])
def test_what_lies_on_a_ceiling_is_told_sample_by_sample(place):
    sizes = np.linspace(0.05, 1.0, 20)
    slopes_db = np.where(sizes < 0.5, 0.0, -70.0)
    colour = Colour(place, tuple(sizes.tolist()), tuple(slopes_db.tolist()), (0.0,) * 20, oversampled=False)
    sound = 0.8 * np.sin(2 * np.pi * np.arange(4000) / 400)[:, None]
    told: list[np.ndarray] = []
    printed = play_take(Chain(colour=colour), sound, rate_hz=RATE).sound
    pieces = np.array_split(printed, 7)
    list(take_back([Chain(colour=colour)], pieces, rate_hz=RATE, flat=told.append))
    flat = np.concatenate(told)
    assert flat.shape == sound.shape
    assert flat[np.abs(sound) > 0.6].all() and not flat[np.abs(sound) < 0.4].any()
