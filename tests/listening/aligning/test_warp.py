import numpy as np
import pytest

from charprobe.files.sound.source import MemoryCapture
from charprobe.listening.aligning.warp import Between, read_at

RATE_HZ = 44_100
TONES_HZ = [31.7, 440.3, 5001.7, 12_345.6, 20_500.1]


def sound_at(positions):
    return sum(np.cos(2 * np.pi * f * positions / RATE_HZ + k) for k, f in enumerate(TONES_HZ)) / len(
        TONES_HZ
    )


SOURCE = MemoryCapture(sound_at(np.arange(60_000)), rate_hz=RATE_HZ, name="made")


@pytest.mark.parametrize(
    ("first", "step"), [(1000.25, 1.0), (2000.5, 1 + 50e-6), (3000.123, 1 - 400e-6), (777.0, 1 + 1e-6)]
)
def test_values_between_samples_equal_the_closed_form_to_better_than_100_db(first, step):
    got = read_at(SOURCE, first=first, step=step, count=40_000)[:, 0]
    error = got - sound_at(first + step * np.arange(40_000))
    assert 10 * np.log10(np.mean(error**2) / np.mean(got**2)) < -108  # the window's own floor, -110 dB


@pytest.mark.parametrize("step", [1.0, 1 + 50e-6])
@pytest.mark.parametrize("offset", [-2.9, 0.0, 1.37])
def test_one_preparation_serves_readings_around_its_place(step, offset):
    near = Between(SOURCE, first=1000.25, step=step, count=5000, slack=3)
    places = 1000.25 + offset + step * np.arange(5000)
    rises = 2 * (sound_at(places + 0.25) - sound_at(places - 0.25))
    for got, truth in ((near.at(offset), sound_at(places)), (near.slope(offset), rises)):
        assert (
            10 * np.log10(np.mean((got[:, 0] - truth) ** 2) / np.mean(truth**2)) < -105
        )  # two windows' floors


def test_whole_positions_give_the_samples_themselves():
    np.testing.assert_array_equal(
        read_at(SOURCE, first=-5.0, step=1.0, count=30)[5:, 0], SOURCE.samples[:25, 0]
    )
    assert not read_at(SOURCE, first=-5.0, step=1.0, count=5).any()


def test_pieces_join_without_a_seam():
    step = 1 + 20e-6
    whole = read_at(SOURCE, first=500.3, step=step, count=20_000)
    pieces = [read_at(SOURCE, first=500.3 + step * k, step=step, count=5000) for k in range(0, 20_000, 5000)]
    np.testing.assert_allclose(
        np.concatenate(pieces), whole, rtol=0, atol=1e-10
    )  # rounding of the transforms


def test_two_channels_are_read_alike():
    both = MemoryCapture(
        np.stack([SOURCE.samples[:, 0], -SOURCE.samples[:, 0]], axis=1), rate_hz=RATE_HZ, name="made"
    )
    got = read_at(both, first=100.7, step=1 + 1e-5, count=1000)
    np.testing.assert_allclose(got[:, 0], -got[:, 1], rtol=0, atol=1e-12)


def test_a_rate_change_is_refused():
    with pytest.raises(ValueError, match=r"0\.5 %"):
        read_at(SOURCE, first=0.0, step=48 / 44.1, count=10)
