import numpy as np

from charprobe.listening.aligning.filtering import through


def test_each_channel_goes_through_its_own_response_and_only_whole_sums_are_given(rng):
    frames, impulse = rng.normal(size=(500, 2)), rng.normal(size=(20, 2))
    truth = np.stack([np.convolve(frames[:, k], impulse[:, k], "valid") for k in range(2)], axis=1)
    np.testing.assert_allclose(through(frames, impulse), truth, rtol=0, atol=1e-11)  # rounding
