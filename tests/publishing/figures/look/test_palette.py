from itertools import pairwise

import pytest

from charprobe.publishing.figures.look.palette import DARK, LIGHT, contrast, luminance


def greyness(colour):
    """How light a colour is in grey: CIE L*, 0 (black) to 100 (white)."""
    level = luminance(colour)
    return 116 * level ** (1 / 3) - 16 if level > 0.008856 else 903.3 * level


def test_contrast_of_black_and_white_is_21():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert luminance("#808080") == pytest.approx(0.2158605, abs=1e-6)  # ((128/255 + 0.055) / 1.055) ** 2.4


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_text_and_curves_stand_out_from_the_paper(palette):
    assert contrast(palette.ink, palette.paper) >= 7.0
    assert contrast(palette.soft, palette.paper) >= 4.5
    assert min(contrast(colour, palette.paper) for colour in palette.series) >= 3.0


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_every_two_curves_differ_in_grey_and_neighbours_in_use_differ_much(palette):
    greys = sorted(greyness(colour) for colour in palette.series)
    steps = [b - a for a, b in pairwise(greys)]
    assert min(steps) >= 5.0
    assert max(steps) - min(steps) < 1.0  # even; a colour has 256 levels of each channel
    in_use = [greyness(colour) for colour in palette.series]
    assert min(abs(b - a) for a, b in pairwise(in_use)) >= 12.0
