import numpy as np
import pytest
from a_little_of_all import RECIPE
from judged_captures import RATE, STAGES, clean_once, judged, placed

from charprobe.measuring.health.pauses.foreign_sounds import check_foreign_sounds
from charprobe.stimulus.render import lay_out


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("level_dbfs", [-80.0, -40.0])
def test_a_sound_in_a_pause_is_told_with_its_time(stage, level_dbfs):
    samples = clean_once(stage).copy()
    at = (
        0.3 + 0.00078 + lay_out(RECIPE, rate_hz=RATE, take=1).segments[0].span.start / RATE + 0.4
    )  # in the silence
    time_s = np.arange(round(0.3 * RATE)) / RATE
    chime = 10 ** (level_dbfs / 20) * np.exp(-8 * time_s) * np.sin(2 * np.pi * 1318.5 * time_s)
    samples[round(at * RATE) : round(at * RATE) + chime.size, 0] += chime
    found = [item for item in judged(samples)[1] if item.code == "spur"]
    assert len(found) == 1
    assert found[0].start_s == pytest.approx(at, abs=0.03)
    assert "was not played" in found[0].message


def test_soft_blips_are_told():
    samples = clean_once("plain-wire").copy()
    time_s = np.arange(samples.shape[0]) / RATE % 0.5
    blip = np.sin(2 * np.pi * 1200 * time_s) * np.sin(np.pi * time_s / 0.012) * (time_s < 0.012)
    samples[:, 0] += 10 ** (-85 / 20) * blip  # 19 dB above the noise of a frame
    assert [item.code for item in judged(samples)[1] if item.severity == "warn"] == ["spur"]


def test_an_offset_that_swings_back_after_a_tone_is_no_sound():
    samples = clean_once("plain-wire").copy()
    steps = lay_out(RECIPE, rate_hz=RATE, take=1).segments[2]
    first = steps.span.stop + round(0.25 * RATE)  # of the capture: within the last tone
    time_s = np.arange(samples.shape[0] - first) / RATE
    samples[first:, 0] += 0.03 * time_s / 0.1 * np.exp(-time_s / 0.1)
    assert check_foreign_sounds(placed(samples)) == []
