"""The sync markers."""

import numpy as np
import pytest

from charprobe.stimulus.marker import HIGH_HZ, LOW_HZ, SYNC_S, render_sync, sync_length, sync_value

RATE_HZ = 48_000


@pytest.mark.parametrize("marker", ["opening", "closing"])
@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000, 192_000])
def test_a_marker_is_the_same_wave_at_every_rate(marker, rate_hz):
    rendered = render_sync(marker, rate_hz=rate_hz, level_dbfs=-20.0)
    assert rendered.size == sync_length(rate_hz) == SYNC_S * rate_hz
    same_times = np.arange(rendered.size) * 48_000 / rate_hz
    exact = 0.1 * sync_value(marker, same_times, rate_hz=48_000)
    np.testing.assert_allclose(rendered, exact, rtol=0, atol=1e-10)  # rounding of a phase of 1e4 rad


@pytest.mark.parametrize("marker", ["opening", "closing"])
def test_level_is_that_of_a_sine_and_ends_are_silent(marker):
    rendered = render_sync(marker, rate_hz=RATE_HZ, level_dbfs=-36.0)
    middle = rendered[2000:-2000]
    level_dbfs = 20 * np.log10(np.sqrt(2 * np.mean(middle**2)))
    assert abs(level_dbfs + 36) < 0.05  # the slice holds no whole number of cycles
    assert abs(rendered[0]) < 1e-9 and abs(rendered[-1]) < 1e-5
    assert np.all(sync_value(marker, np.array([-0.5, sync_length(RATE_HZ) + 0.5]), rate_hz=RATE_HZ) == 0)


@pytest.mark.parametrize("marker", ["opening", "closing"])
def test_energy_stays_in_the_stated_band(marker):
    rendered = render_sync(marker, rate_hz=RATE_HZ, level_dbfs=0.0)
    power = np.abs(np.fft.rfft(rendered, 2**16)) ** 2
    hz = np.fft.rfftfreq(2**16, 1 / RATE_HZ)
    outside = power[(hz < 0.5 * LOW_HZ) | (hz > 1.05 * HIGH_HZ)].sum()
    assert 10 * np.log10(outside / power.sum()) < -40  # the tapers keep the skirts below 1e-4 of the energy


def test_no_marker_forwards_or_backwards_passes_for_another():
    shapes = [render_sync(m, rate_hz=RATE_HZ, level_dbfs=0.0) for m in ("opening", "closing")]
    shapes += [s[::-1] for s in shapes]
    size = 2**15
    spectra = [np.fft.rfft(s / np.sqrt(s @ s), size) for s in shapes]
    for i, a in enumerate(spectra):
        for j, b in enumerate(spectra):
            peak = np.abs(np.fft.irfft(a * b.conj(), size)).max()
            if i == j:
                assert abs(peak - 1) < 1e-9
            else:
                assert peak < 0.1  # about 1/sqrt(difference of sweep rates) / length: 0.02 to 0.06
