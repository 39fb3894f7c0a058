import pytest
from publishing.report.one_page import rendered
from publishing.report.reader import Reader


@pytest.fixture(scope="session")
def page(shared):
    """A page that shows all a page can show."""

    def fill(folder):
        (folder / "page.html").write_text(rendered(), encoding="utf-8")

    return (shared("page", fill) / "page.html").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def read(page):
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader
