import numpy as np
import pytest

from charprobe.simulation.devices.dynamics.compressor import Compressor, SlowStore
from charprobe.simulation.devices.parts.gain_computer import Bend, slope_of

RATE = 48_000.0


def fundamental(samples, frequency_hz):
    """Amplitude by a plain windowed DFT of the last second."""
    n = np.arange(samples.size)[-48_000:]
    window = np.hanning(n.size)
    return (
        2 * abs((window * np.exp(-2j * np.pi * frequency_hz / RATE * n)) @ samples[-48_000:]) / window.sum()
    )


def dft_gain_db(stage, level_dbfs, rng, frequency_hz=997.0, length_s=3.0):
    n = np.arange(int(length_s * RATE))
    x = 10 ** (level_dbfs / 20) * np.cos(2 * np.pi * frequency_hz / RATE * n)
    y = stage.process(x, rate_hz=RATE, rng=rng).samples
    return 20 * np.log10(fundamental(y, frequency_hz) / fundamental(x, frequency_hz))


def build(**changed):
    settings = {"bends": (Bend(-24, slope_of(4), 6),), "attack_s": 0.005, "release_s": 0.1, "makeup_db": 3.0}
    return Compressor("built", "for a test", **(settings | changed))


@pytest.mark.parametrize("level_dbfs", [-60, -27, -24, -20, -3])
@pytest.mark.parametrize(
    "changed",
    [
        {},
        {"placement": "before computer"},
        {"placement": "before log"},
        {"form": "smooth decoupled"},
        {"sidechain_low_cut_hz": 300.0},
        {"slow_store": SlowStore(0.5, 0.2, 0.5)},
        {"bends": (Bend(-30, 0.5), Bend(-12, 0.5))},
        {"bends": (Bend(-24, slope_of(np.inf)),)},
        {"bends": (Bend(-40, -0.5, 4, side="below", most_db=9),)},
    ],
    ids=lambda changed: next(iter(changed), "as built"),
)
def test_envelope_stage_settles_on_the_closed_static_curve(level_dbfs, changed, rng):
    stage = build(**changed)
    # the envelope reads a sine within 0.0003 dB and the side chain's low cut is warped by 0.0003 dB at 997 Hz
    expected = stage.static_gain_db(np.array([float(level_dbfs)]))[0]
    assert dft_gain_db(stage, level_dbfs, rng) == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize("detector", ["average", "rms"])
@pytest.mark.parametrize("level_dbfs", [-50, -20, -5])
def test_averaging_stage_settles_on_the_closed_static_curve(detector, level_dbfs, rng):
    stage = build(detector=detector, placement="before log", attack_s=0.02, release_s=0.02)
    expected = stage.static_gain_db(np.array([float(level_dbfs)]))[0]
    # ripple of depth m at 2f moves the fundamental by about m^2/4, m = 1/(4 pi f tau) = 0.004 (RMS); the average's
    # own mean over samples is short by 0.001 dB
    assert dft_gain_db(stage, level_dbfs, rng) == pytest.approx(expected, abs=2e-3)


@pytest.mark.parametrize("placement", ["before log", "before computer", "after computer"])
def test_peak_stage_run_to_rest_agrees_with_a_long_tone(placement, rng):
    stage = build(detector="peak", placement=placement, attack_s=0.0005, release_s=0.08)
    expected = stage.static_gain_db(np.array([-8.0]))[0]
    # the same device, but windows start at other phases of the ripple: 0.001 dB
    assert dft_gain_db(stage, -8.0, rng) == pytest.approx(expected, abs=2e-3)


def test_peak_stage_states_the_threshold_a_sine_meets(rng):
    stage = build(
        detector="peak", placement="before log", bends=(Bend(-30, 0.75),), attack_s=0.002, release_s=0.02
    )
    shift_db = stage.truth["static.threshold"].value + 30
    assert 1 < shift_db < 6  # an attack of a tenth of the release reads a sine some dB low
    for level_dbfs in (-10.0, -3.0):
        over = level_dbfs - stage.truth["static.threshold"].value
        assert dft_gain_db(stage, level_dbfs, rng) == pytest.approx(3.0 - 0.75 * over, abs=3e-3)
    assert "static.knee_width" not in stage.truth


def test_mean_square_detector_makes_the_tabled_third_harmonic(rng):
    tau, frequency_hz = 0.005, 100.0
    stage = build(
        detector="rms", placement="before log", attack_s=tau, release_s=tau, bends=(Bend(-40, slope_of(4)),)
    )
    n = np.arange(int(3 * RATE))
    y = stage.process(0.5 * np.cos(2 * np.pi * frequency_hz / RATE * n), rate_hz=RATE, rng=rng).samples
    h3 = fundamental(y, 3 * frequency_hz) / fundamental(y, frequency_hz)
    expected = 0.75 / (4 * np.sqrt(1 + (4 * np.pi * frequency_hz * tau) ** 2))
    # first order in the ripple m = 0.157: the next terms are some m^2/4 of it
    assert 20 * np.log10(h3 / expected) == pytest.approx(0, abs=0.1)


def test_gain_trace_is_what_was_applied_and_look_ahead_delays_the_sound(rng):
    stage = build(lookahead_s=0.001)
    x = rng.normal(0, 0.1, 4800)
    out = stage.process(x, rate_hz=RATE, rng=rng)
    np.testing.assert_allclose(out.samples[48:], x[:-48] * 10 ** (out.gain_db[48:] / 20), rtol=1e-12)
    assert stage.truth["attack.lookahead"].value == 0.001


def test_two_stage_release_needs_smoothing_of_the_reduction():
    with pytest.raises(ValueError, match="two-stage release"):
        build(slow_store=SlowStore(0.5, 0.2, 0.5), placement="before log")


@pytest.mark.parametrize(("detector", "exponent"), [("average", 1.0), ("rms", 2.0)])
def test_mean_detectors_put_other_waveforms_on_the_sine_curve_by_their_p_norm(detector, exponent, rng):
    stage = build(
        detector=detector, placement="before log", attack_s=0.05, release_s=0.05, bends=(Bend(-40, 0.5),)
    )
    assert stage.truth["detector.exponent"].value == exponent
    n = np.arange(48_000)
    two_tone = 0.2 * (np.cos(2 * np.pi * 997 / RATE * n) + np.cos(2 * np.pi * 1601 / RATE * n))
    sine = np.cos(2 * np.pi * 997 / RATE * n)
    norms = [np.mean(np.abs(x) ** exponent) ** (1 / exponent) for x in (two_tone, sine)]
    equal_level = 20 * np.log10(norms[0] / norms[1])
    gain_db = stage.process(two_tone, rate_hz=RATE, rng=rng).gain_db[-24_000:].mean()
    # the beat at 604 Hz leaves a ripple of m = 1/(2 pi 604 0.05) = 0.005 whose square is all that the mean feels
    assert gain_db == pytest.approx(stage.static_gain_db(np.array([equal_level]))[0], abs=0.005)


def test_two_bends_and_a_lower_one_are_stated():
    truth = build(bends=(Bend(-30, 0.5), Bend(-12, 0.4), Bend(-50, 2, side="below"))).truth
    stated = {name: truth[f"static.{name}"].value for name in ("slope", "second_slope", "lower_slope")}
    assert stated == pytest.approx({"slope": 0.5, "second_slope": 0.1, "lower_slope": 3.0})
    assert truth["static.second_threshold"].value == -12
    assert truth["static.lower_threshold"].value == -50
