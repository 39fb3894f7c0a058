import dataclasses

from made_profiles import UGLY, UGLY_NAME, B, made_profile

from charprobe.publishing.figures.look.style import ARTICLE_LOOK
from charprobe.publishing.figures.look.text import ABSENT, lacks_glyphs, shown
from charprobe.publishing.figures.static import draw_static


def test_a_character_the_font_lacks_becomes_a_box():
    assert shown("日 ok") == f"{ABSENT} ok"
    assert lacks_glyphs("日")
    assert not lacks_glyphs(UGLY_NAME)
    named = draw_static(made_profile(dataclasses.replace(B, name="日本")), ARTICLE_LOOK)
    assert "font lacks some characters" in named.notes[0]
    assert draw_static(made_profile(UGLY), ARTICLE_LOOK).notes == ()
