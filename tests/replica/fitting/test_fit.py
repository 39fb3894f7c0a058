"""From captures to a replica, on a short stimulus: what needs no search comes out as what it is."""

from functools import partial

import numpy as np
import pytest
from scipy import signal

from charprobe.files.sound.source import MemoryCapture
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.replica.fitting import fit as fitting
from charprobe.replica.fitting.filter_fit import Linear
from charprobe.replica.fitting.fit import fit_replica
from charprobe.replica.fitting.heard import Memory
from charprobe.replica.fitting.pair import Pair
from charprobe.replica.fitting.sounds import sounds_of, without_filter
from charprobe.replica.fitting.stretches import stretches_of
from charprobe.replica.parts import Section
from charprobe.simulation.devices.chain import Wire
from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.simulation.devices.parts.gain_computer import Bend
from charprobe.simulation.devices.shapers import Saturation, Shaper
from charprobe.simulation.rig.rig import Rig
from charprobe.simulation.simulate import record_stage
from charprobe.stimulus.kinds.programme import Programme
from charprobe.stimulus.recipe import parse_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.errors import ReplicaError

RATE = 44_100
RECIPE = """
schema = "charprobe.recipe/1"
name = "short"
summary = "what a fit hears, and programme"
[[segment]]
kind = "silence"
name = "idle"
length_s = 0.5
[[segment]]
kind = "level_steps"
name = "steps"
frequency_hz = 997
from_dbfs = -40
to_dbfs = -4
step_db = 6
step_s = 0.1
[[segment]]
kind = "bursts"
name = "bursts"
carrier_hz = 3989
phases = 3
low_dbfs = -30
high_dbfs = -6
lead_s = 0.05
hold_s = 0.1
release_s = 0.15
reference = true
[[segment]]
kind = "programme"
name = "proof"
length_s = 4
level_dbfs = -6
"""
TONES = """
[[segment]]
kind = "tones"
name = "harmonics"
frequencies_hz = [110, 701]
levels_dbfs = [-40, -30, -20, -16, -12, -8, -6, -4]
tone_s = 0.15
"""
SWEEP = """
[[segment]]
kind = "sweep"
name = "response"
from_hz = 10
to_hz = 22000
length_s = 2
level_dbfs = -40
"""
STIMULUS = lay_out(parse_recipe(RECIPE, source="short"), rate_hz=RATE, take=1)
RIG = Rig(noise_dbfs=-100, delay_samples=80.3, drift_ppm=15, bits=24, lead_s=0.1, tail_s=0.1)


def captured(gain_db, *, seed, played=None):
    samples = 10 ** (gain_db / 20) * (render(STIMULUS) if played is None else played)
    return record_stage(Wire("wire", "wire"), samples, rig=RIG, rate_hz=RATE, seed=seed)


source = partial(MemoryCapture, rate_hz=RATE)


@pytest.fixture(scope="module")
def bypass():
    return captured(0.0, seed=1)


@pytest.fixture(scope="module")
def wet():
    return captured(-3.0, seed=2)


@pytest.fixture(scope="module")
def fitted(wet, bypass):
    return fit_replica(source(wet), STIMULUS, bypass=source(bypass), channel=1, setting="pad")


def test_a_gain_comes_out_as_one_and_is_proved(fitted):
    replica = fitted.replica
    assert replica.chain.cell.makeup_db == pytest.approx(-3.0, abs=1e-4)
    assert (replica.chain.cell.bends, replica.chain.colour.amplitude, replica.chain.filter_out) == (
        (),
        (),
        (),
    )
    assert replica.notes[0].startswith("A gain of −3")
    assert replica.proofs[0].residual_db < -75  # noise of -100 dBFS under programme at -20 or so, twice
    assert replica.proofs[0].gain_error_db < 0.01


def test_a_hard_saturator_comes_out_as_a_curve_and_not_as_a_gain_cell():
    stimulus = lay_out(parse_recipe(RECIPE + TONES, source="short"), rate_hz=RATE, take=1)
    played = render(stimulus)
    stage = Shaper("bent", "", Saturation(2.5))
    through = stage.process(played, rate_hz=RATE, rng=np.random.default_rng(0)).samples
    wet, dry = (source(captured(0.0, seed=seed, played=x)) for seed, x in ((3, through), (4, played)))
    replica = fit_replica(wet, stimulus, bypass=dry, channel=1, setting="bent").replica
    assert replica.chain.cell.bends == () and replica.notes[0].startswith("Colour alone")
    assert replica.proofs[0].gain_error_db < 0.03  # the goal; oversampling filters differ at the top


def bent_behind_a_cut(stimulus, corner_hz):
    cut = signal.butter(2, corner_hz, "highpass", fs=RATE, output="sos")
    into = signal.sosfilt(cut, render(stimulus))
    stage = Shaper("bent", "", Saturation(1.0))
    return stage.process(into, rate_hz=RATE, rng=np.random.default_rng(0)).samples


def test_a_low_cut_comes_out_ahead_of_a_saturator_where_it_is():
    stimulus = lay_out(parse_recipe(RECIPE + TONES + SWEEP, source="short"), rate_hz=RATE, take=1)
    out, played = bent_behind_a_cut(stimulus, 150.0), render(stimulus)
    wet, dry = (source(captured(0.0, seed=seed, played=x)) for seed, x in ((5, out), (6, played)))
    replica = fit_replica(wet, stimulus, bypass=dry, channel=1, setting="cut").replica
    assert [one.kind for one in replica.chain.filter_in] == ["low cut"] and not replica.chain.filter_out
    assert replica.chain.filter_in[0].frequency_hz == pytest.approx(150, rel=0.02)
    assert "filter ahead" in replica.notes[0]


def test_a_low_cut_behind_the_stage_is_taken_off_what_each_piece_remembers():
    cut = signal.butter(2, 40.0, "highpass", fs=RATE, output="sos")
    played = render(STIMULUS)
    sounds = (captured(0.0, seed=7, played=signal.sosfilt(cut, played)), captured(0.0, seed=8))
    pair = Pair(*(place_take(Track(source(one), 0, STIMULUS)) for one in sounds)).seal()
    stretches = stretches_of(pair.wet, threshold_dbfs=-20.0)
    heard = sounds_of(pair, stretches, memory=Memory(0.01, 0.05), noise=pair.noise(gain_db=0.0))
    linear = Linear((Section("low cut", 40.0, 2),))
    undone = without_filter(heard, linear, pair).fit
    error = undone.target - undone.seen(undone.dry[undone.used])
    assert np.sqrt(np.mean(error**2) / np.mean(undone.target**2)) < 2e-3


def test_no_fit_hears_the_programme(fitted, wet, bypass):
    start, length = STIMULUS.of_kind(Programme)[0].span.start, STIMULUS.of_kind(Programme)[0].span.length
    other = wet.copy()
    begin = start + round(0.1 * RATE) + 200
    other[begin : begin + length - 400] *= np.linspace(0.2, 1.0, length - 400)[:, None]
    again = fit_replica(source(other), STIMULUS, bypass=source(bypass), channel=1, setting="pad").replica
    assert again.chain == fitted.replica.chain
    assert again.proofs[0].residual_db > -20


def test_a_sealed_pair_refuses_programme(wet, bypass):
    takes = [place_take(Track(source(one), 0, STIMULUS)) for one in (wet, bypass)]
    span = STIMULUS.of_kind(Programme)[0].span
    pair = Pair(*takes)
    assert pair.read(span.start, span.start + 100).dry.size == 100
    with pytest.raises(ValueError, match="must not see"):
        pair.seal().read(span.start - 50, span.start + 50)
    stretches = stretches_of(takes[0], threshold_dbfs=-20.0)
    assert {stretch.use for stretch in stretches} >= {"search", "fit", "held out"}
    assert all(stretch.stop <= span.start for stretch in stretches)


def test_a_capture_is_no_bypass_of_itself(wet):
    with pytest.raises(ReplicaError, match="no model is fitted"):
        fit_replica(source(wet), STIMULUS, bypass=source(wet.copy()), channel=1, setting="pad")


def test_a_stretch_is_played_from_the_loudest_sound_that_is_still_remembered(wet):
    take = place_take(Track(source(wet), 0, STIMULUS))
    held_out = next(
        s for s in stretches_of(take, threshold_dbfs=-20.0) if (s.use, s.name) == ("held out", "bursts")
    )
    tones = [tone for segment in STIMULUS.alike for tone in segment.tones if tone.stop <= held_out.start]
    loudest = max(tones, key=lambda tone: tone.level_dbfs).start
    slow, quick = (Memory(0.001, release_s).start_of(held_out, RATE) for release_s in (3.0, 0.002))
    assert slow == pytest.approx(loudest - 0.06 * RATE)
    assert quick == pytest.approx(held_out.start - 0.068 * RATE)


@pytest.mark.parametrize("ahead", [False, True])
def test_a_gain_at_rest_that_is_not_measured_tells_noise_ahead_from_noise_behind(monkeypatch, ahead):
    device = Compressor("slow", "slow", (Bend(-38.0, 0.7),), attack_s=0.001, release_s=3.0, makeup_db=6.0)
    hiss, rng = (
        1e-5 * np.random.default_rng(5).standard_normal(render(STIMULUS).size),
        np.random.default_rng(6),
    )
    played = render(STIMULUS) + hiss * ahead
    sides = device.process(played.copy(), rate_hz=RATE, rng=rng).samples, played
    behind = 1e-7 if ahead else 1e-5
    wet, bypass = (
        source(0.4 * side + behind * rng.standard_normal(side.size), name=name)
        for side, name in zip(sides, ("wet", "bypass"), strict=True)
    )
    seen = []

    def fit_chain(pair, profile, *, noise, **_):
        seen.append((profile.measured("static.low_level_gain"), noise.heard))
        raise ReplicaError("enough")

    monkeypatch.setattr(fitting, "fit_chain", fit_chain)
    with pytest.raises(ReplicaError, match="enough"):
        fit_replica(wet, STIMULUS, bypass=bypass, channel=1, setting="slow")
    assert seen == [(None, float(ahead))]
