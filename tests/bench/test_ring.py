import numpy as np

from charprobe.bench.ring import Ring


def test_frames_come_out_as_they_went_in_however_they_wrap(rng):
    ring, went, came = Ring(100, 2), [], []
    for count in rng.integers(1, 40, 60):
        block = rng.standard_normal((count, 2)).astype(np.float32)
        ring.put(block)
        went.append(block)
        if rng.random() < 0.8 or sum(map(len, went)) - sum(map(len, came)) > 60:
            came.append(ring.take())
    came.append(ring.take())
    assert ring.lost == 0
    np.testing.assert_array_equal(np.concatenate(came), np.concatenate(went))


def test_what_finds_no_room_is_counted_and_what_is_there_stays():
    ring = Ring(10, 1)
    ring.put(np.ones((8, 1)))
    ring.put(np.full((3, 1), 2.0))
    assert ring.lost == 3
    np.testing.assert_array_equal(ring.take(), np.ones((8, 1)))
