import numpy as np
import pytest

from charprobe.simulation.devices.parts.filters import (
    Filter,
    bass_shelf,
    high_pass,
    low_pass,
    treble_shelf,
)

SECTIONS = [
    treble_shelf(corner_hz=4000, gain_db=3),
    bass_shelf(corner_hz=120, gain_db=4),
    high_pass(corner_hz=30),
    low_pass(corner_hz=12_000),
]


@pytest.mark.parametrize("rate_hz", [44_100.0, 48_000.0, 192_000.0])
@pytest.mark.parametrize("section", SECTIONS)
def test_impulse_response_has_the_analogue_response(section, rate_hz, rng):
    stage = Filter("f", "f", (section,), {})
    impulse = np.zeros(int(rate_hz))
    impulse[impulse.size // 2] = 1.0
    out = stage.process(impulse, rate_hz=rate_hz, rng=rng).samples
    # one second: bins of 1 Hz; the phase is taken back by the impulse's place
    found = np.fft.rfft(np.roll(out, -(impulse.size // 2)))
    bins = np.unique(np.geomspace(20, 20_000, 60).astype(int))
    expected = stage.response(bins.astype(float))
    # time aliasing of the faded-out response is the only error: 1e-5 is 0.0001 dB
    np.testing.assert_allclose(found[bins] / expected, 1, rtol=0, atol=1e-5)


def test_shelf_has_half_its_gain_at_the_corner_and_all_of_it_far_away():
    for section, far_hz in ((SECTIONS[0], 1e9), (SECTIONS[1], 1e-6)):
        gain_db = 20 * np.log10(np.abs(section.response(np.array([section.corner_hz, far_hz]))))
        assert gain_db[0] == pytest.approx(gain_db[1] / 2, abs=1e-9)
    assert 20 * np.log10(abs(SECTIONS[0].response(np.array([1e9]))[0])) == pytest.approx(3, abs=1e-6)


def test_corners_are_3_db_down():
    for section in SECTIONS[2:]:
        assert np.abs(section.response(np.array([section.corner_hz])))[0] == pytest.approx(
            np.sqrt(0.5), abs=1e-12
        )
