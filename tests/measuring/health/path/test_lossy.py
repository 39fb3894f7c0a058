import numpy as np
from a_little_of_all import RECIPE
from judged_captures import RATE, clean, told

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.characterise import characterise
from charprobe.simulation.rig.fault_catalogue import apply_fault
from charprobe.stimulus.render import lay_out
from charprobe.values.quantity import Quantity


def test_a_wall_in_the_spectrum_is_told_with_its_frequency(rng):
    capture = clean("plain-wire", rng, noise_dbfs=-90.0)
    spectrum = np.fft.rfft(capture, axis=0)
    spectrum[np.fft.rfftfreq(capture.shape[0], 1 / RATE) > 16_000] = 0
    walled = np.fft.irfft(spectrum, capture.shape[0], axis=0)
    assert "Nothing above 16.0 kHz" in told(np.round(walled * 2**23) / 2**23)["lossy-coded"]


def test_lossy_coding_costs_harmonics_noise_and_attack_only(rng):
    stimulus = lay_out(RECIPE, rate_hz=RATE, take=1)
    samples = apply_fault("lossy-coded", clean("feedforward-rms-hard", rng), rate_hz=RATE)
    capture = MemoryCapture(samples, rate_hz=RATE, name="coded.wav")
    profile = characterise(capture, stimulus, channel=1, setting="x", bypass=None)
    measured = {
        name.split(".")[0] for name, e in profile.quantities.items() if isinstance(e.reading, Quantity)
    }
    assert "static" in measured
    assert not measured & {"colour", "noise", "attack"}
