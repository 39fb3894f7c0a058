"""A sound system without sound: what the library of devices answers, with fake streams for every take."""

import numpy as np

from tests.bench.fake_stream import FakeStream
from tests.bench.rigs import patch


class FakeSound:
    """Stands for the module that reaches the devices; `device` turns what is played into what is recorded.

    `channels` is how many each of its one device has; `refuses` is said where a stream is opened.
    """

    PortAudioError = type("PortAudioError", (Exception,), {})

    def __init__(self, *, device=lambda block: block, channels=1, refuses=None, names=("strip",)):
        self.device, self.channels, self.refuses, self.names = device, channels, refuses, names
        self.streams, self.how = [], {}

    def query_hostapis(self):
        return [{"name": "made up"}]

    def query_devices(self):
        row = {"hostapi": 0, "default_samplerate": 48_000.0}
        sides = {"max_input_channels": self.channels, "max_output_channels": self.channels}
        return [row | sides | {"name": name} for name in self.names]

    def check_output_settings(self, **_):
        pass

    check_input_settings = check_output_settings

    def Stream(self, *, samplerate, channels, callback, **_):  # named as in the library
        if self.refuses:
            raise self.PortAudioError(self.refuses)
        ins, outs = channels
        rig = patch(rate_hz=samplerate, outputs=tuple(range(1, outs + 1)), inputs=tuple(range(1, ins + 1)))
        self.streams.append(FakeStream(rig, callback, device=self.device, **self.how))
        return self.streams[-1]


def noisy_wire(gain=0.5, noise=1e-5):
    """A loop that turns the level and adds noise, the same in every run."""
    rng = np.random.default_rng(7)
    return lambda block: gain * block + noise * rng.standard_normal(block.shape).astype(np.float32)


def installed(monkeypatch, **how):
    """Put a fake sound system in place of the real one."""
    sound = FakeSound(**how)
    monkeypatch.setattr("charprobe.bench.devices._loaded", lambda: sound)
    return sound
