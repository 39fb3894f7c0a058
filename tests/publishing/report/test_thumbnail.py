import dataclasses

import pytest
from made_profiles import B, gain_db, made_profile

from charprobe.profile.entry import Table
from charprobe.publishing.report.thumbnail import (
    HEIGHT,
    STATIC_RANGE_DBFS,
    WIDTH,
    static_points,
    timing_points,
)


def test_the_static_curve_is_drawn_by_level_from_minus_62_to_2_dbfs():
    levels = [-10.0, -50.0, -30.0, -20.0]
    out = [float(level + gain_db(B, level)) for level in levels]
    table = Table(
        {"input_dbfs": levels, "output_dbfs": out, "used": [True, True, True, False]},
        {"input_dbfs": "dBFS", "output_dbfs": "dBFS", "used": ""},
    )
    profile = dataclasses.replace(made_profile(B), curves={"static": table})
    points = [tuple(map(float, point.split(","))) for point in static_points(profile).split()]
    low, high = STATIC_RANGE_DBFS
    for (x, y), level, height in zip(points, [-50.0, -30.0, -10.0], [out[1], out[2], out[0]], strict=True):
        assert x == pytest.approx(WIDTH * (level - low) / (high - low), abs=0.051)  # one digit is written
        assert y == pytest.approx(
            HEIGHT * (1 - (height - low) / (high - low)), abs=0.051
        )  # one digit is written


def test_without_tables_there_is_no_picture():
    bare = dataclasses.replace(made_profile(B), curves={})
    assert (static_points(bare), timing_points(bare)) == ("", ())


def test_attack_falls_and_release_rises_inside_the_picture():
    attack, release = timing_points(made_profile(B))
    heights = [[float(point.split(",")[1]) for point in line.split()] for line in (attack, release)]
    assert heights[0][0] < heights[0][-1]  # y grows downwards
    assert heights[1][0] > heights[1][-1]
    assert all(0 <= y <= HEIGHT for line in heights for y in line)
