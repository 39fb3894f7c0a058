from dataclasses import replace

import numpy as np
from figure_parts import texts
from made_profiles import UGLY, made_profile

from charprobe.profile.entry import Table
from charprobe.publishing.figures.colour_map import cells_of, draw_colour_map, has_cells, plot_colour_map
from charprobe.publishing.figures.look.style import ARTICLE_LOOK


def test_the_map_shows_each_cell_and_what_hides_in_it(drawings):
    table = made_profile(UGLY).curves["harmonics"]
    levels, tones, thd, limit, _ = cells_of(table)
    assert thd.shape == (len(tones), len(levels))
    written = texts(drawings["colour-map"])
    for row, column in ((0, 0), (len(tones) - 1, len(levels) - 1)):
        seen = np.isfinite(thd[row, column])
        value = thd[row, column] if seen else limit[row, column]
        assert f"{'' if seen else '< '}{value:.0f}".replace("-", "−") in written
    every = len(tones)  # rows run through the tones of each level
    one_tone = Table({name: column[::every] for name, column in table.columns.items()}, table.units)
    assert has_cells(table) and not has_cells(one_tone)


def test_the_panel_draws_on_the_axes_it_is_given(axes):
    profile = made_profile(UGLY)
    assert plot_colour_map(profile, axes) is axes
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("input level (dBFS)", "tone (Hz)")
    _, _, thd, limit, _ = cells_of(profile.curves["harmonics"])
    assert len(axes.patches) == np.count_nonzero(np.isfinite(thd) | np.isfinite(limit)) == 24


def test_where_no_reduction_is_known_nothing_is_said_of_it(drawings):
    profile = made_profile(UGLY)
    table = profile.curves["harmonics"]
    unknown = Table({**table.columns, "reduction_db": [None] * len(table.columns["thd_dbc"])}, table.units)
    drawing = draw_colour_map(replace(profile, curves={"harmonics": unknown}), ARTICLE_LOOK)
    words = "the stage reduces gain"
    assert words not in " ".join(texts(drawing)) and words in " ".join(texts(drawings["colour-map"]))
