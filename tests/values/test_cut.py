import numpy as np

from charprobe.values.cut import Cut

CUT = Cut(np.arange(10.0), 99.25, 0.5, 48_000.0)


def test_each_sample_knows_its_place_on_the_stimulus_clock():
    np.testing.assert_array_equal(CUT.position(), 99.25 + 0.5 * np.arange(10))


def test_a_part_keeps_the_places_of_its_samples_and_ends_before_its_stop():
    part = CUT.between(100.0, 102.25)
    np.testing.assert_array_equal(part.samples, [2, 3, 4, 5])  # 100.25 to 101.75
    assert part.start == 100.25
    np.testing.assert_array_equal(part.position(), CUT.position()[2:6])


def test_a_part_outside_is_empty_and_one_that_reaches_out_is_clipped():
    assert CUT.between(0.0, 99.0).samples.size == 0
    assert CUT.between(200.0, 300.0).samples.size == 0
    np.testing.assert_array_equal(CUT.between(0.0, 1000.0).samples, CUT.samples)
