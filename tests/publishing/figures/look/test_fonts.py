import base64
import re

from matplotlib import font_manager
from matplotlib.ft2font import FT2Font

from charprobe.publishing.figures.look.fonts import FAMILY, faces_css, families


def test_figures_are_set_in_the_projects_own_typeface():
    assert families()[0] == FAMILY
    font = FT2Font(font_manager.findfont(FAMILY))
    assert font.family_name == FAMILY
    assert all(ord(one) in font.get_charmap() for one in "AZaz09−±≤≥≠×°ΩÄéЖ")


def test_digits_are_of_one_width():
    font = FT2Font(font_manager.findfont(FAMILY))
    font.set_size(20, 72)
    widths = {font.load_char(ord(digit)).horiAdvance for digit in "0123456789"}
    assert len(widths) == 1


def test_letters_stand_in_the_middle_of_the_room_they_take():
    font = FT2Font(font_manager.findfont(FAMILY))
    font.set_size(200, 72)
    for character in "1Ilo0.":
        glyph = font.load_char(ord(character))
        right = glyph.horiAdvance - glyph.horiBearingX - glyph.width
        assert abs(right - glyph.horiBearingX) < 0.2 * glyph.horiAdvance, character


def test_a_page_carries_both_weights():
    faces = re.findall(r"base64,([A-Za-z0-9+/=]+)", faces_css())
    assert [base64.b64decode(one)[:4] for one in faces] == [b"wOFF", b"wOFF"]
    assert sum(map(len, faces)) < 60_000
