import time

import pytest

from charprobe.files.toml_limits import too_costly

HOSTILE = {
    "quotes": '"""' * 60_000,
    "escapes": '\\"' * 90_000,
    "an open string of escapes": '"""' + ' ""\\"' * 30_000,
    "apostrophes": "''' '' " * 25_000,
    "spaces": ("a" + " " * 1000) * 180,
}


@pytest.mark.parametrize("name", HOSTILE)
def test_any_text_is_counted_in_time_that_grows_with_its_length(name):
    started = time.process_time()
    too_costly(HOSTILE[name], most_depth=5)
    assert time.process_time() - started < 2.0  # a tenth of a second; a squared cost would take minutes


def test_strings_and_comments_are_no_depth():
    text = 'a = """x.y.z.u.v [[[["""  # [[[[ a.b.c.d\nb = [1.5, -2.25e-3, 1979-05-27T07:32:00.999]\n"a.b.c".d = 1'
    assert too_costly(text, most_depth=2) == ""
    assert too_costly('"a" . b."c" = 1', most_depth=2) == "line 1: nested deeper than 2 levels"
