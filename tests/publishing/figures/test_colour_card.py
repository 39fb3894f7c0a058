import pytest
from figure_parts import texts
from made_profiles import UGLY, made_profile

from charprobe.publishing.figures.colour_card import plot_colour_readings, plot_harmonic_bars
from charprobe.publishing.figures.look.source import in_words


def test_the_card_writes_every_level_that_matters(drawings):
    written = " ".join(texts(drawings["colour-card"]))
    for label in ("THD at reference", "Colour from", "0.1 % distortion at", "Gain ripple's share"):
        assert label in written
    assert in_words(made_profile(UGLY), "colour.thd_at_reference") in written


def test_each_panel_draws_on_the_axes_it_is_given(axes):
    profile = made_profile(UGLY)
    assert plot_harmonic_bars(profile, axes) is axes
    assert axes.get_ylabel() == "level re fundamental (dBc)"
    tops = {round(bar.get_x() + bar.get_width() / 2): bar.get_y() + bar.get_height() for bar in axes.patches}
    assert tops == pytest.approx({2: UGLY.h2_dbc, 3: UGLY.h3_dbc, 4: -112.0})  # the last one is its limit
    written = [text.get_text() for text in plot_colour_readings(profile).texts]
    assert in_words(profile, "noise.change") == "not measured"
    assert "Response tilt" in written and in_words(profile, "response.tilt") in written
