import numpy as np
import pytest

from charprobe.replica.colour import is_flat, shaped, table_of, unshaped
from charprobe.replica.parts import Colour

RATE = 48_000
SIZES = np.concatenate([[0.02], np.arange(0.05, 1.01, 0.05)])


def colour_of(slope, **more):
    """The colour whose slope at x is given, by its odd and even parts at the sizes."""
    up, down = 20 * np.log10(slope(SIZES)), 20 * np.log10(slope(-SIZES))
    return Colour(
        amplitude=tuple(SIZES.tolist()),
        odd_db=tuple(((up + down) / 2).tolist()),
        even_db=tuple(((up - down) / 2).tolist()),
        **more,
    )


CUBIC = colour_of(lambda x: 1 + 0.1 * x - 0.3 * x**2)


def test_a_cubic_comes_out_as_its_closed_form():
    x = np.linspace(-1, 1, 999)
    out = shaped(x, table_of(CUBIC), oversampled=False)
    np.testing.assert_allclose(out, x + 0.05 * x**2 - 0.1 * x**3, atol=2e-6)  # spline through 21 sizes


def test_beyond_its_last_size_the_slope_stays():
    out = shaped(np.array([1.0, 2.0]), table_of(CUBIC), oversampled=False)
    assert out[1] - out[0] == pytest.approx(0.8, abs=1e-6)


def test_harmonics_beyond_half_the_rate_do_not_fold_back():
    n = np.arange(4800)
    tone = 0.9 * np.sin(2 * np.pi * 9000 / RATE * n)  # its third harmonic would fold to 21 kHz
    spectrum = [
        np.abs(np.fft.rfft(shaped(tone, table_of(CUBIC), oversampled=many)[960:3840] * np.hanning(2880)))
        for many in (True, False)
    ]
    folded = round(21_000 / RATE * 2880)
    assert (
        20 * np.log10(spectrum[0][folded] / spectrum[1][folded]) < -60
    )  # what the up and down filters let by


@pytest.mark.parametrize("oversampled", [True, False])
def test_the_curve_is_undone(oversampled, rng):
    sound = np.convolve(rng.normal(0, 0.3, 6000), np.hanning(9) / 4, mode="same").clip(-0.95, 0.95)
    table = table_of(CUBIC)
    back = unshaped(shaped(sound, table, oversampled=oversampled), table, oversampled=oversampled)
    assert np.abs(back - sound).max() < 1e-8


def test_a_curve_that_grows_steep_is_undone_though_the_highest_octave_passes_it_by(rng):
    """Turns by ten times what is left, where the slope is a tenth, ran away with what lies near half the rate."""
    sound = np.convolve(rng.normal(0, 0.5, 9000), np.hanning(7) / 4, mode="same").clip(-0.98, 0.98)
    table = table_of(colour_of(lambda x: 10 ** (-(x**2))))
    back = unshaped(shaped(sound, table, oversampled=True), table, oversampled=True)
    assert np.sqrt(np.mean((back - sound) ** 2)) < 1e-7


def test_what_lies_on_a_ceiling_is_flat_and_stays_within_the_curve(rng):
    table = table_of(colour_of(lambda x: np.where(np.abs(x) < 0.5, 1.0, 1e-3)))
    sound = np.convolve(rng.normal(0, 0.5, 6000), np.hanning(9) / 4, mode="same")
    back = unshaped(shaped(sound, table, oversampled=False), table, oversampled=False)
    lost = is_flat(back, table)
    np.testing.assert_array_equal(lost[np.abs(sound) > 0.6], True)
    assert np.abs(back - sound)[~lost].max() < 1e-3
    assert np.abs(back).max() <= 1.0


def test_no_colour_is_a_wire():
    assert table_of(Colour()).shape == (1, 3)
