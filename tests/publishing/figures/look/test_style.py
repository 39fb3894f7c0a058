from charprobe.publishing.figures.look.style import ARTICLE_LOOK


def test_curves_differ_in_style_and_marker_beside_colour():
    looks = [ARTICLE_LOOK.series(index) for index in range(8)]
    assert len({str(look["linestyle"]) for look in looks}) == 8
    assert len({look["marker"] for look in looks}) == 8
