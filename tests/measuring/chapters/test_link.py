"""Stereo link of pairs whose link and crosstalk are known."""

import numpy as np
import pytest
from taken import NoReduction

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.chapters.link import link_chapter
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.simulation.devices.parts.gain_computer import Bend, slope_of
from charprobe.simulation.devices.stereo import LinkedPair
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.kinds.link import Link
from charprobe.stimulus.kinds.steady import Silence
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render, render_sides
from charprobe.values.quantity import Unmeasured

RATE_HZ = 48_000
THRESHOLD_DBFS, RATIO = -30.0, 4.0
UNIT = Compressor(
    "unit", "hard 4:1", (Bend(THRESHOLD_DBFS, slope_of(RATIO)),), attack_s=0.005, release_s=0.08
)
LINK = Link("sides", 997.0, 3001.0, (-50.0, -30.0, -16.0, -4.0), -50.0, 0.8)


class Curve(NoReduction):
    """The unit's own static curve."""

    def reduction_db_at(self, input_dbfs):
        return max(0.0, (1 - 1 / RATIO) * (input_dbfs - THRESHOLD_DBFS))


def takes_of(pair, rng, *, segments=(LINK,), channels=(0, 1)):
    stimulus = lay_out(Recipe("link", "two sides", segments), rate_hz=RATE_HZ, take=1)
    sound = render_sides(stimulus)
    out = sound if pair is None else pair.process_pair(sound, rate_hz=RATE_HZ)[0]
    rig = Rig(delay_samples=41.3, noise_dbfs=-110.0, bits=24, drift_ppm=12.0, gain_db=-1.0)
    capture = MemoryCapture(
        rig.record_channels(out, rate_hz=RATE_HZ, rng=rng), rate_hz=RATE_HZ, name="pair.wav"
    )
    return [place_take(Track(capture, channel, stimulus)) for channel in channels]


def reading(chapter, name):
    return chapter.quantities[f"detector.{name}"].reading


@pytest.mark.parametrize("link", [0.0, 0.35, 1.0])
@pytest.mark.parametrize("side", [1, 2])
def test_the_link_is_found_on_both_sides(link, side, rng):
    (wet,) = takes_of(LinkedPair("p", "p", UNIT, link), rng, channels=(side - 1,))
    (dry,) = takes_of(None, rng, channels=(side - 1,))
    chapter = link_chapter(wet, dry, Curve())
    found = reading(chapter, "link")
    assert found.value == pytest.approx(link, abs=0.002)
    assert found.low - 1e-3 <= link <= found.high + 1e-3
    assert f"side {side} of the stimulus" in chapter.quantities["detector.link"].conditions
    words = {0.0: "not linked", 0.35: "linked in part (35 %)", 1.0: "are linked:"}[link]
    assert any(words in sentence for sentence in chapter.findings)
    table = chapter.curves["link"].columns
    assert table["drive_dbfs"] == list(LINK.levels_dbfs)
    top = max(0.0, 0.75 * (-4 - THRESHOLD_DBFS))
    assert table["own_reduction_db"][-1] == pytest.approx(top, abs=0.01)
    assert table["pilot_reduction_db"][-1] == pytest.approx(link * top, abs=0.01)


@pytest.mark.parametrize("crosstalk_db", [-90.0, -60.0])
def test_crosstalk_is_measured_and_is_no_link(crosstalk_db, rng):
    (wet,) = takes_of(LinkedPair("p", "p", UNIT, 0.0, crosstalk_db), rng, channels=(1,))
    (dry,) = takes_of(None, rng, channels=(1,))
    chapter = link_chapter(wet, dry, Curve())
    talk = reading(chapter, "crosstalk")
    assert talk.value == pytest.approx(crosstalk_db, abs=0.3)
    assert reading(chapter, "link").value == pytest.approx(0.0, abs=0.002)
    assert any("Crosstalk from the driven side" in sentence for sentence in chapter.findings)
    assert not any("recording path" in sentence for sentence in chapter.findings)


def test_crosstalk_that_reduces_by_itself_is_not_called_a_link(rng):
    # -16 dB of crosstalk drives the idle side over its threshold
    (wet,) = takes_of(LinkedPair("p", "p", UNIT, 0.0, -16.0), rng, channels=(0,))
    found = reading(link_chapter(wet, None, Curve()), "link")
    assert isinstance(found, Unmeasured)
    assert "crosstalk alone" in found.reason


def test_sides_that_are_never_reduced_give_no_link(rng):
    (wet,) = takes_of(None, rng, channels=(0,))
    chapter = link_chapter(wet, None, None)
    assert "less than 0.5 dB" in reading(chapter, "link").reason
    assert reading(chapter, "crosstalk").at_most < -100


def test_a_recipe_without_sides_names_one_that_has_them(rng):
    stimulus = lay_out(Recipe("none", "no link", (Silence("idle", 0.5),)), rate_hz=RATE_HZ, take=1)
    assert stimulus.channels == 1
    capture = MemoryCapture(render(stimulus), rate_hz=RATE_HZ, name="mono.wav")
    chapter = link_chapter(place_take(Track(capture, 0, stimulus)), None, None)
    for entry in chapter.quantities.values():
        assert "link" in entry.reading.reason
        assert entry.reading.next.endswith("link")


def test_each_side_is_driven_while_the_other_plays_the_pilot():
    stimulus = lay_out(Recipe("link", "two sides", (LINK,)), rate_hz=RATE_HZ, take=1)
    sound = render_sides(stimulus)
    assert sound.shape == (stimulus.length, 2)
    span = stimulus.segments[0].span
    assert np.array_equal(sound[: span.start, 0], sound[: span.start, 1])
    rms = np.sqrt(np.mean(sound[span.start : span.start + round(3.2 * RATE_HZ)] ** 2, axis=0))
    assert rms[1] == pytest.approx(10 ** (-50 / 20) / np.sqrt(2), rel=0.01)
    assert rms[0] > 50 * rms[1]
    # the driven tone is continuous from level to level
    assert np.max(np.abs(np.diff(sound[:, 0]))) < 2 * np.pi * 997 / RATE_HZ * 1.01
