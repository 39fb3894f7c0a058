import numpy as np
import pytest
from a_little_of_all import RECIPE
from judged_captures import RATE, STAGES, clean_once, judged, placed
from taken import take_of

from charprobe.measuring.health.pauses.foreign_sounds import check_foreign_sounds
from charprobe.stimulus.kinds.steady import Tones
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


TONES = tuple(Tones(str(n), (997.0,), (-20.0,), 0.3, gap_s=0.8) for n in range(5))


def hissing(samples, rng, *, pauses_db):
    """Hiss of -80 dBFS whose level moves evenly between points, or jumps once, over the take."""
    level_db = np.interp(np.linspace(0, 1, samples.size), *pauses_db) - 80
    return samples + 10 ** (level_db / 20) / np.sqrt(2) * rng.standard_normal(samples.size)


@pytest.mark.parametrize(
    ("pauses_db", "told"),
    [
        (([0, 1], [0, 12]), ["foreign-noise"]),  # a part that heats up
        (([0, 1], [12, 0]), []),  # a gain that does not come back
        (([0, 0.3, 0.31, 1], [0, 0, 12, 12]), []),  # a gate that is open from the first sound on
    ],
)
def test_noise_that_grows_throughout_is_told(rng, pauses_db, told):
    take = take_of(TONES, lambda x: hissing(x, rng, pauses_db=pauses_db), rng=rng)
    assert [item.code for item in check_foreign_sounds(take)] == told


def test_a_stage_s_hiss_that_a_gate_hides_does_not_come_and_go(rng):
    def gated(samples):
        """Hiss of -60 dBFS, 12 dB less behind the loudest tone and back in 0.2 s; shut 0.4 s after each sound."""
        heard = np.abs(samples) > 0.01
        since_s = np.arange(samples.size) - np.maximum.accumulate(np.where(heard, np.arange(samples.size), 0))
        since_s = since_s / RATE
        loud = np.flatnonzero(np.abs(samples) > 0.4)
        low = (np.arange(samples.size) > loud[0]) & (np.arange(samples.size) < loud[-1] + RATE // 2)
        gain_db = np.where(low, -12 * np.exp(-since_s / 0.1), 0.0) - np.where(since_s > 0.4, 30.0, 0.0)
        out = 1e-3 / np.sqrt(2) * rng.standard_normal(samples.size) * 10 ** (gain_db / 20)
        return samples + out

    loud = Tones("loud", (997.0,), (-5.0,), 0.3, gap_s=0.8)
    assert check_foreign_sounds(take_of((*TONES, loud), gated, rng=rng)) == []
    (item,) = check_foreign_sounds(take_of((*TONES, loud), lambda x: swells_once(x, rng), rng=rng))
    assert item.code == "foreign-noise"


def swells_once(samples, rng):
    """A fan that is heard within the last pause alone."""
    at = np.arange(samples.size) / RATE
    loud = np.flatnonzero(np.abs(samples) > 0.4)[-1] / RATE
    swell_db = -90 + 20 * np.exp(-(((at - loud - 0.45) / 0.12) ** 2))
    return samples + 10 ** (swell_db / 20) / np.sqrt(2) * rng.standard_normal(samples.size)
