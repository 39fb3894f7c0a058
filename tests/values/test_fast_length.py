import pytest

from charprobe.values.fast_length import fast_length


def smooth(number):
    for prime in (2, 3, 5):
        while number % prime == 0:
            number //= prime
    return number == 1


@pytest.mark.parametrize("least", [1, 2, 7, 11, 97, 641, 8820, 9601, 65_537, 1_234_567])
def test_no_length_of_small_factors_lies_nearer(least):
    found = fast_length(least)
    assert found >= least
    assert smooth(found)
    assert not any(smooth(number) for number in range(least, found))
