"""One structure fitted to a device of the same structure, with code of its own."""

from dataclasses import replace
from itertools import product
from typing import get_args

import numpy as np
import pytest

import charprobe.replica.fitting.search as searching
from charprobe.replica.fitting.ahead import FOLLOW, ahead_of
from charprobe.replica.fitting.cell_fit import fit_cell
from charprobe.replica.fitting.heard import TOP_LEFT, Heard, Memory
from charprobe.replica.fitting.search import FIT, Budget, unheard
from charprobe.replica.fitting.structures import LINEAR, READS, Structure, cell_of
from charprobe.replica.parts import Bend, Cell, Detector, Domain, Form, Smoothing, Towards
from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.simulation.devices.parts.gain_computer import Bend as DeviceBend
from charprobe.simulation.devices.stage import StageOutput
from tests.benchmarks.bent_devices import BentCompressor

RATE = 44_100
FIRST = Cell(
    Detector("envelope"), (Bend(-24.0, 0.5, 3.0),), Smoothing(attack_s=0.006, release_s=0.1), makeup_db=1.0
)


def heard(device, rng, seconds=1.2):
    n = np.arange(round(seconds * RATE))
    swell = 10 ** (np.repeat(rng.uniform(-40, -3, 12), n.size // 12 + 1)[: n.size] / 20)
    dry = swell * np.sin(2 * np.pi * 2003 * n / RATE)
    late = round(
        getattr(device, "lookahead_s", 0.0) * RATE
    )  # by which it comes out later; a pair is read without
    wet = device.process(np.append(dry, np.zeros(late)), rate_hz=RATE, rng=rng).samples[late:]
    wet = wet + 1e-6 * rng.standard_normal(n.size)
    used = np.arange(n.size)
    weight = 1 / np.hypot(1e-6, 1e-3 * swell)
    return Heard(dry, wet, used, weight, used // 400, np.full(n.size, 1e-6))


def device(*, knee_db=6.0, **changed):
    return Compressor(
        "d", "d", (DeviceBend(-28.0, 0.65, knee_db),), attack_s=0.01, release_s=0.06, makeup_db=2.0, **changed
    )


@pytest.mark.parametrize(
    ("structure", "built"),
    [
        (Structure("envelope"), device()),
        (Structure("rectified", domain="level in dB", towards="target"), device(detector="peak", placement="before computer")),
        (Structure("envelope", form="decoupled"), device(form="smooth decoupled")),
    ],
)  # fmt: skip
def test_the_numbers_of_a_device_come_back(structure, built, rng):
    sound = heard(built, rng)
    found = fit_cell(structure, FIRST, sound, sound, rate_hz=RATE, effort=FIT)
    bend, smoothing = found.cell.bends[0], found.cell.smoothing
    got = [bend.threshold_dbfs, bend.slope, bend.knee_db, smoothing.attack_s, smoothing.release_s]
    np.testing.assert_allclose(got, [-28.0, 0.65, 6.0, 0.01, 0.06], rtol=0.02)
    assert found.cell.makeup_db == pytest.approx(2.0, abs=0.01)


def test_a_light_cell_that_remembers_comes_back_with_all_its_numbers(rng):
    built = BentCompressor((DeviceBend(-28.0, 0.65, 6.0),), 0.01, 0.06, 0.0, 1, (0.2, 0.5, 6.0, 1.0), 2.0)
    sound = heard(built, rng, seconds=4.0)
    found = fit_cell(built.structure, FIRST, sound, sound, rate_hz=RATE, effort=replace(FIT, turns=40))
    held = found.cell.smoothing
    got = [
        held.attack_s,
        held.release_s,
        held.charge_s,
        held.slow_s,
        held.stretch,
        held.stretch_db,
        held.power,
    ]
    np.testing.assert_allclose(got, [0.01, 0.06, 0.2, 0.5, 6.0, 1.0, 1.0], rtol=0.05)


class LargerOfTwo:
    """4:1 above -28 dBFS of the rectified sample; two stores (rise, fall), of which the larger counts."""

    stores = ((0.006, 0.05), (0.15, 0.7))

    def process(self, samples, *, rate_hz, rng):
        wanted = 0.75 * np.maximum(20 * np.log10(np.abs(samples) + 1e-9) + 28.0, 0.0)
        steps = [[1 - np.exp(-1 / (time_s * rate_hz)) for time_s in store] for store in self.stores]
        held, out = [0.0, 0.0], np.empty_like(samples)
        for n, goal in enumerate(wanted.tolist()):
            for i, (rise, fall) in enumerate(steps):
                held[i] += (rise if goal > held[i] else fall) * (goal - held[i])
            out[n] = max(held)
        return StageOutput(samples * 10 ** (-out / 20), -out)


def test_the_larger_of_two_releases_comes_back_with_all_its_numbers(rng):
    sound, structure = heard(LargerOfTwo(), rng, seconds=4.0), Structure("rectified", release="larger")
    found = fit_cell(structure, FIRST, sound, sound, rate_hz=RATE, effort=replace(FIT, turns=40))
    held = found.cell.smoothing
    got = [held.attack_s, held.release_s, held.charge_s, held.slow_s]
    np.testing.assert_allclose(got, np.ravel(LargerOfTwo.stores), rtol=0.02)


@pytest.mark.parametrize(("slope", "most_db"), [(1.0, 9.0), (-0.5, 120.0)])
def test_a_stage_that_moves_what_is_quiet_comes_back(slope, most_db, rng):
    bend = DeviceBend(-18.0, slope, 4.0, side="below", most_db=most_db)
    sound = heard(Compressor("d", "d", (bend,), attack_s=0.01, release_s=0.06), rng)
    quiet = "moved" if most_db == 120.0 else "moved to a floor"
    near = Bend(-21.0, 0.7 * slope, 6.0, "below", min(120.0, 1.5 * most_db))
    start = Cell(Detector("envelope"), (near,), Smoothing(attack_s=0.005, release_s=0.1))
    found = fit_cell(
        Structure("envelope", bends=0, quiet=quiet), start, sound, sound, rate_hz=RATE, effort=FIT
    )
    (got,) = found.cell.bends
    assert got.side == "below"
    np.testing.assert_allclose([got.threshold_dbfs, got.slope, got.knee_db], [-18.0, slope, 4.0], rtol=0.03)
    assert got.most_db == pytest.approx(most_db, rel=0.02)
    times = found.cell.smoothing.attack_s, found.cell.smoothing.release_s
    np.testing.assert_allclose(times, [0.01, 0.06], rtol=0.03)


def test_a_gate_that_begins_as_level_swaps_its_times_where_the_reduction_is_smoothed():
    gate = Cell(
        bends=(Bend(-40.0, 1.0, side="below"),),
        smoothing=Smoothing(domain="level", attack_s=0.001, release_s=0.2),
    )
    told = cell_of(Structure("envelope", bends=0, quiet="moved"), gate).smoothing
    assert (told.attack_s, told.release_s) == (0.2, 0.001)
    assert not Structure(loop="feedback", quiet="moved").sound


@pytest.mark.parametrize("seed", [3, 5])
def test_the_interval_of_a_hard_knee_reaches_none(seed):
    sound = heard(device(knee_db=0.0), np.random.default_rng(seed))
    found = fit_cell(Structure("envelope"), FIRST, sound, sound, rate_hz=RATE, effort=FIT)
    at = [knob.places[0] for knob in found.knobs].index("cell.bends.0.knee_db")
    covariance = found.solution.covariance
    assert found.cell.bends[0].knee_db < 3 * np.sqrt(covariance[at, at]) < 1.5
    np.testing.assert_allclose(covariance, covariance.T, rtol=1e-12)


def test_a_loop_starts_with_the_settled_curve_of_the_open_cell():
    back = cell_of(Structure("mean square", averaged=True, loop="feedback"), FIRST)
    assert back.bends[0].slope == pytest.approx(1.0)  # 2:1 either way
    open_again = cell_of(Structure("envelope"), back)
    assert open_again.bends[0].slope == pytest.approx(FIRST.bends[0].slope)
    assert open_again.bends[0].knee_db == pytest.approx(FIRST.bends[0].knee_db)


def test_neighbours_that_make_no_sense_are_told():
    assert not Structure(release="charged", form="decoupled").sound
    assert not Structure("rectified", domain="amplitude").sound  # that is "level"
    assert Structure().sound and Structure("mean square", averaged=True, domain="amplitude").sound


@pytest.mark.parametrize("detectors", [searching.READINGS[:2], searching.READINGS[1:3]])
def test_every_structure_is_one_thing_at_most_from_those_that_are_all_looked_at(detectors):
    like = Structure(bends=2, quiet="moved")
    looked = {one for one in searching.all_of(like, detectors) if one.sound}
    reached = looked | {near for one in looked for near in one.neighbours() if near.sound}
    plain = [
        replace(like, reads=reads, averaged=averaged, domain=domain, form=form, towards=towards, held=held, low_cut=cut)
        for reads, averaged, domain, form, towards, held, cut in product(
            READS, (False, True), get_args(Domain), get_args(Form), get_args(Towards), (False, True), (0, 1)
        )
    ]  # fmt: skip
    plain += [replace(like, reads=reads, release=one) for reads in READS for one in LINEAR]
    assert {one for one in plain if one.sound} <= reached and len(looked) < 0.5 * len(set(plain))


def test_what_no_change_brings_alone_is_found_among_all(rng):
    sound = heard(device(detector="peak", form="decoupled", hold_s=0.03, lookahead_s=0.002), rng)
    among = [
        one
        for one in searching.all_of(Structure(), searching.READINGS[1:3])
        if one.sound and one.domain == "reduction"
    ]
    found = searched(sound, among, Budget(1e12))[0]
    assert found.structure == Structure("rectified", form="decoupled", towards="rest", held=True)
    assert found.cell.smoothing.hold_s == pytest.approx(0.03, rel=0.02)
    assert found.cell.lookahead_s == pytest.approx(0.002, abs=1 / RATE)


def test_what_falls_to_rest_leads_to_a_loop_that_falls_to_its_target():
    assert Structure("rectified", loop="feedback") in Structure("rectified", towards="rest").neighbours()


def test_a_bare_rectifier_with_a_hold_is_found(rng):
    sound = heard(device(detector="peak", hold_s=0.03), rng)
    found = searched(sound, searching.FIRST, Budget(1e12))[0]
    assert found.structure == Structure("rectified", held=True)
    assert found.cell.smoothing.hold_s == pytest.approx(0.03, rel=0.02)


def test_each_number_of_a_structure_must_bring_its_share(rng):
    sound = heard(device(), rng, seconds=0.1)
    plain, fuller = (
        fit_cell(Structure("envelope", held=held), FIRST, sound, sound, rate_hz=RATE, effort=searching.LOOK)
        for held in (False, True)
    )
    nearly, clearly = (replace(fuller, held_out=share * plain.held_out) for share in (0.98, 0.96))
    assert sorted([nearly, plain, clearly], key=searching.worth_it) == [clearly, plain, nearly]


def test_a_low_cut_is_of_first_or_of_second_order_and_told_so():
    steep = Structure(low_cut=2)
    assert {one.low_cut for one in Structure(low_cut=1).neighbours()} == {0, 1, 2}
    assert {one.low_cut for one in steep.neighbours()} == {0, 1, 2}
    assert "low cut, of second order" in steep.in_words() and list(steep.less()) == [Structure()]
    assert (
        cell_of(steep, FIRST).detector.low_cut_q
        > 0
        == cell_of(Structure(low_cut=1), FIRST).detector.low_cut_q
    )


def test_a_fuller_structure_is_the_plainer_and_more_and_not_another():
    plain, fuller = Structure("envelope"), Structure("envelope", bends=2, release="shared")
    assert list(Structure("envelope", held=True).less()) == [plain] and not list(plain.less())
    assert set(fuller.less()) == {
        plain,
        Structure("envelope", bends=2),
        Structure("envelope", release="shared"),
    }


def searched(sound, among, budget, *, keep=0.0):
    return searching.search(
        [(one, FIRST) for one in among],
        sound,
        sound,
        rate_hz=RATE,
        jobs=1,
        budget=budget,
        keep=keep,
        told=lambda _: None,
    )


def test_a_search_ends_with_its_budget_and_says_so(rng):
    sound = heard(device(), rng, seconds=0.3)
    among = (Structure("rectified"), Structure("rectified", loop="feedback"), Structure("envelope"))
    budget = Budget(2.0 * 30 * sound.dry.size)  # a look or two
    found = searched(sound, among, budget)
    assert budget.ended and all(one.structure.loop == "feed-forward" for one in found)
    rich = Budget(1e12)
    assert len(searched(sound, among, rich)) > len(found) and not rich.ended and rich.left < 1e12


def test_a_structure_that_remembers_more_than_was_heard_is_told_by_what_it_meets(rng):
    sound = heard(device(), rng, seconds=0.3)
    one = fit_cell(Structure("rectified"), FIRST, sound, sound, rate_hz=RATE, effort=searching.LOOK)
    slow = replace(
        one.cell, smoothing=replace(one.cell.smoothing, release="charged", slow_s=2.0, charge_s=1.0)
    )
    memory = Memory.of(one.cell.smoothing)
    more = replace(one, cell=slow, solution=replace(one.solution, score=0.5 * one.solution.score))
    worse = replace(more, solution=one.solution)
    assert unheard([one, more, worse], memory) == [more]
    assert Memory.of(one.cell.smoothing, slow.smoothing) == Memory.of(slow.smoothing)
    assert Memory.of(Smoothing(release_s=0.01, hold_s=0.05)).release_s == pytest.approx(0.06)
    assert unheard([worse, one], memory) == [worse] and not unheard([worse, one], Memory.of(slow.smoothing))


@pytest.mark.parametrize("ahead", [0, 53])
def test_look_ahead_is_found_to_the_sample(ahead, rng):
    sound = heard(device(lookahead_s=ahead / RATE), rng)
    start = replace(FIRST, bends=(Bend(-27.0, 0.6, 5.0),), lookahead_s=40 / RATE)
    first = fit_cell(Structure("envelope"), start, sound, sound, rate_hz=RATE, effort=searching.SEARCH)

    def fit(cell):
        return fit_cell(Structure("envelope"), cell, sound, sound, rate_hz=RATE, effort=FOLLOW)

    assert ahead_of(first, fit, rate_hz=RATE).cell.lookahead_s == pytest.approx(ahead / RATE, abs=0.1 / RATE)


def test_a_search_that_went_past_a_plain_stage_comes_back_to_it(rng, monkeypatch):
    sound = heard(device(), rng)
    monkeypatch.setattr(searching, "ROUNDS", 0)
    past = (Structure("envelope", low_cut=1, bends=2),)
    found = searched(sound, past, Budget(1e12))
    plain = next(one for one in found if one.structure == Structure("envelope"))
    assert plain.held_out < 1.01 * found[0].held_out


def test_what_rings_at_half_the_rate_is_not_seen(rng):
    sound = heard(device(), rng, seconds=0.02)
    ringing = (-1.0) ** np.arange(sound.used.size)
    assert np.max(np.abs(sound.seen(ringing)[1:-1])) < 1e-12
    assert np.std(sound.seen(rng.standard_normal((8, 20_000)))) == pytest.approx(TOP_LEFT, rel=0.01)
