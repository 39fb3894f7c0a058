from dataclasses import replace

import numpy as np
import pytest
from static_chapters import codes, on_steps
from static_curves import curve_of, knee

from charprobe.estimators.static.readings import read_static_curve
from charprobe.measuring.chapters.static.words import _unsettled, words_on
from charprobe.profile.entry import Entry
from charprobe.values.quantity import Unmeasured


def test_a_plain_compressor_is_given_no_other_name():
    _, chapter, _ = on_steps("smooth-gain-soft")
    assert codes(chapter) <= {"unsettled"}
    assert any("compresses 2.5" in sentence for sentence in chapter.findings)


NAMES = ("threshold", "ratio", "slope", "knee_width", "max_reduction")


def said_of(curve):
    readings = read_static_curve(curve)
    published = {f"static.{name}": Entry(getattr(readings, name), "") for name in NAMES}
    published["static.low_level_gain"] = Entry(curve.low_level_gain, "")
    return readings, list(words_on(curve, readings, published))


@pytest.mark.parametrize(("third", "words"), [(0.25, ["Steeper yet above −12.0 dBFS: 4:1."]), (0.0, [])])
def test_a_third_bend_is_told_though_ratios_are_given_of_two(rng, third, words):
    curve = curve_of(
        lambda level: 0.3 * knee(level + 34, 0) + 0.2 * knee(level + 22, 0) + third * knee(level + 12, 0),
        rng,
        level=np.arange(-59.0, -1.0, 1.0),
    )
    readings = read_static_curve(curve)
    published = {f"static.{name}": Entry(getattr(readings, name), "") for name in NAMES}
    published |= {f"static.second_{name}": Entry(getattr(readings.second, name), "") for name in NAMES[:3:2]}
    published["static.low_level_gain"] = Entry(curve.low_level_gain, "")
    said = list(words_on(curve, readings, published))
    assert "Above −22.0 dBFS it compresses 2:1." in said
    assert [sentence for sentence in said if sentence.startswith("Steeper")] == words  # 1 - 0.3 - 0.2 - 0.25


def test_a_bend_that_goes_on_is_put_into_words_though_it_has_no_second_bend(rng):
    readings, said = said_of(
        curve_of(
            lambda level: 0.5 * knee(level + 30, 4) + 0.1 * knee(level + 14, 26),
            rng,
            level=np.arange(-59.0, -1.0, 3.0),
        )
    )
    assert readings.second is None
    assert said[0] == "It compresses, but nowhere along a straight line: read its local slopes."


def test_sentences_have_an_editors_digits(rng):
    _, said = said_of(curve_of(lambda level: 0.6 * knee(level + 32, 0.0), rng, sigma_db=1e-5))
    assert said[0].startswith("Above −32.0 dBFS it compresses 2.5:1")
    assert said[-1] == "Where it reduces nothing its gain is 4.0 dB."


def test_a_gate_that_rests_at_its_floor_is_called_one_though_no_curve_of_knees_holds(rng):
    level = np.arange(-59.0, -1.0, 3.0)
    opens = np.interp(level, [-43.0, -42.0, -39.0, -38.0], [-14.0, -6.0, -5.0, 0.0])
    opens = opens + 0.4 * np.sin(level) * (level > -38)  # which no straight line does
    curve = curve_of(lambda at: -np.interp(at, level, opens), rng, level=level)
    assert curve.fit is None
    _, said = said_of(curve)
    assert said[1].startswith("Gate or expander: its gain rises from −1")


def test_a_gate_of_which_one_step_tells_is_named_by_where_it_works(rng):
    level = np.arange(-59.0, -1.0, 3.0)
    floor = np.where(level < -48, 14.0, np.where(level < -45, 6.0, 0.0))
    readings, said = said_of(curve_of(lambda at: np.interp(at, level, floor), rng, level=level))
    assert isinstance(readings.lower.slope, Unmeasured)
    assert said[0].startswith("Gate or expander, working below −4")


def test_what_a_dead_zone_takes_at_low_levels_is_distortion_and_no_gate(rng):
    turn = np.sin(np.arange(4096) * 2 * np.pi / 4096)

    def harmonics(level):
        wave = 10 ** (level / 20) * turn
        return np.abs(np.fft.rfft(np.sign(wave) * np.maximum(np.abs(wave) - 1e-4, 0)))[[1, 3]] / 2048

    plain = curve_of(lambda at: at - [20 * np.log10(harmonics(x)[0]) for x in at], rng, sigma_db=1e-4)
    odd = {x: float(np.divide(*harmonics(x)[::-1])) for x in {p.input_dbfs for p in plain.points}}
    assert said_of(plain)[0].dead_below_dbfs is None  # nothing tells that it is distortion
    points = tuple(replace(p, odd_share=odd[p.input_dbfs]) for p in plain.points)
    readings, said = said_of(replace(plain, points=points))
    assert readings.lower is not None
    assert said[0].startswith("Gain is lost to distortion that grows as the level falls below −5")


def test_a_gain_that_rises_with_level_is_no_gain_that_stays(rng):
    _, said = said_of(curve_of(lambda level: -0.06 * knee(level + 27, 0.0), rng, sigma_db=1e-4))
    assert said[0] == "Its gain rises with level above −27.0 dBFS, by up to 1.5 dB."


@pytest.mark.parametrize(("left_db", "severity"), [(0.001, "note"), (0.2, "warn")])
def test_a_step_with_hardly_anything_left_to_go_is_a_note(rng, left_db, severity):
    curve = curve_of(lambda level: 0.6 * knee(level + 32, 0.0), rng, sigma_db=1e-4)
    top = max(p.input_dbfs for p in curve.points)
    points = tuple(
        replace(p, settled=False, remaining_db=-left_db) if p.input_dbfs == top else p for p in curve.points
    )
    ((code, found, _),) = _unsettled(replace(curve, points=points))
    assert (code, found) == ("unsettled", severity)
