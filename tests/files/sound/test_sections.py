"""Sections give what the recursion they stand for gives, whatever blocks the sound comes in."""

import numpy as np
from scipy.signal import butter, sosfilt

from charprobe.files.sound.sections import Sections


def test_blocks_of_any_size_are_filtered_like_the_recursion(rng):
    sections = butter(4, [38.0, 9000.0], "bandpass", fs=44_100, output="sos")
    sound = rng.standard_normal((3000, 2))
    filters = Sections(sections, channels=2)
    cuts = np.split(sound, [1, 8, 264, 264, 1500])
    found = np.concatenate([filters.filtered(cut) for cut in cuts])
    # both round at each frame, and the poles next to 1 carry that on for some thousand frames
    np.testing.assert_allclose(found, sosfilt(sections, sound, axis=0), rtol=0, atol=1e-11)
