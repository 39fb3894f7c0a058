"""The tour of the library runs as written, in an empty folder, and prints what it shows."""

import doctest
import re
from pathlib import Path

from near import near

TOUR = (Path(__file__).parents[1] / "docs" / "library.md").read_text(encoding="utf-8")


class Near(doctest.OutputChecker):
    """Shown and printed output agree where `near` says so."""

    def check_output(self, want, got, optionflags):
        return near(want, got)


def test_the_tour_prints_what_it_shows(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MPLBACKEND", "agg")
    blocks = re.findall(r"```python\n(.*?)```", TOUR, re.S)
    assert len(blocks) == len(re.findall(r"^## \d+\.", TOUR, re.M)) == 10
    parsed = doctest.DocTestParser().get_doctest("\n".join(blocks), {}, "library.md", "library.md", 0)
    assert sum(bool(example.want) for example in parsed.examples) >= 10
    told = []
    failed, tried = doctest.DocTestRunner(checker=Near(), verbose=False).run(parsed, out=told.append)
    assert failed == 0, "".join(told)
    assert tried == len(parsed.examples)
