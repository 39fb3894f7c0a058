"""Two loop-backs whose clock, level, delay and polarity are known."""

import numpy as np
import pytest

from charprobe.bench.self_check import rig_report
from charprobe.files.sound.sound_file import write_wav
from charprobe.simulation.devices.chain import Wire
from charprobe.simulation.rig.rig import Rig
from charprobe.simulation.simulate import record_stage
from charprobe.stimulus.recipe import parse_recipe
from charprobe.stimulus.render import lay_out, render
from tests.bench.rigs import SHORT

RATE_HZ = 48_000
STIMULUS = lay_out(parse_recipe(SHORT, source="short.toml"), rate_hz=RATE_HZ, take=1)


def report(folder, *, drift_ppm=0.0, again=(), **how):
    """Report on two takes of a plain wire; `again` is what differs in the second."""
    for number, other in enumerate(({}, dict(again)), start=1):
        known = {"delay_samples": 480.0, "drift_ppm": drift_ppm, "noise_dbfs": -95.0, "tail_s": 0.3}
        came = record_stage(
            Wire("wire", "nothing"),
            render(STIMULUS),
            rig=Rig(**(known | other)),
            rate_hz=RATE_HZ,
            seed=number,
        )
        write_wav(
            folder / f"{number}.wav",
            np.reshape(came, (len(came), -1)),
            rate_hz=RATE_HZ,
            subtype="float32",
            force=True,
        )
    return "\n".join(rig_report(folder / "1.wav", folder / "2.wav", STIMULUS, **how))


def test_one_device_tells_latency_and_repeats_itself(tmp_path):
    text = report(tmp_path)
    assert "10.00 ms of the whole loop" in text
    assert "normal" in text
    assert "steady levels within 0.00" in text
    assert "clock" not in text.replace("clock          ", "")


def test_two_devices_have_two_clocks_and_latency_that_does_not_repeat_is_said(tmp_path):
    text = report(tmp_path, drift_ppm=100.0, again={"delay_samples": 731.0}, two_devices=True)
    assert "+100.0" in text
    assert "two devices have two clocks" in text
    assert "251.0 samples later" in text
    assert "steady levels within 0.00" in text


@pytest.mark.parametrize(("drift_ppm", "told"), [(0.1, False), (12.0, True)])
def test_one_device_with_another_clock_has_its_rate_converted(tmp_path, drift_ppm, told):
    assert ("its rate is converted" in report(tmp_path, drift_ppm=drift_ppm)) is told
