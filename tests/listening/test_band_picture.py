"""The change of each band and moment is the gain that was applied there."""

import numpy as np

from charprobe.listening.band_picture import QUIETEST_DB, SIZE, picture_bands


def test_a_moving_gain_shows_in_every_band(bent):
    pair, _ = bent
    picture = picture_bands(pair)
    truth = -4 + 3 * np.sin(2 * np.pi * 0.5 * picture.time_s)
    error = np.abs(picture.change_db - truth)
    # within a window of 85 ms the gain moves by 0.8 dB at most, so a sound at its edge is off by half of it
    assert np.nanmax(error[:, SIZE // 512 : -SIZE // 512]) < 0.4
    assert np.nanmedian(error) < 0.05
    assert picture.level_db.max() == 0
    np.testing.assert_array_equal(np.isnan(picture.change_db), picture.level_db < QUIETEST_DB)
    assert np.all(np.diff(picture.frequency_hz) > 0)


def test_a_plain_gain_is_the_same_everywhere(moved):
    picture = picture_bands(moved[0])
    known = picture.change_db[:, 16:-16]  # the file ends within the windows at either end
    np.testing.assert_allclose(known[np.isfinite(known)], 20 * np.log10(0.8), atol=0.05)
