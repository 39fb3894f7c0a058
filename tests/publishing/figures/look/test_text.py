import dataclasses

from made_profiles import UGLY, UGLY_NAME, B, made_profile

from charprobe.publishing.figures.look.style import ARTICLE_LOOK, new_figure
from charprobe.publishing.figures.look.text import ABSENT, lacks_glyphs, put_key_above, shown
from charprobe.publishing.figures.static import draw_static


def test_a_character_the_font_lacks_becomes_a_box():
    assert shown("日 ok") == f"{ABSENT} ok"
    assert lacks_glyphs("日")
    assert not lacks_glyphs(UGLY_NAME)
    named = draw_static(made_profile(dataclasses.replace(B, name="日本")), ARTICLE_LOOK)
    assert "font lacks some characters" in named.notes[0]
    assert draw_static(made_profile(UGLY), ARTICLE_LOOK).notes == ()


def test_a_key_of_two_rows_is_read_row_by_row():
    figure, (axes,) = new_figure(ARTICLE_LOOK)
    names = [f"setting with a name of some length {n}" for n in range(5)]
    for name in names:
        axes.plot([0, 1], [0, 1], label=name)
    axes.legend()
    put_key_above(figure, ARTICLE_LOOK.frame)
    figure.canvas.draw()
    (key,) = figure.legends
    where = {text.get_text(): text.get_window_extent() for text in key.get_texts()}
    assert sorted(names, key=lambda name: (-round(where[name].y0), where[name].x0)) == names
    assert len({round(box.y0) for box in where.values()}) > 1
