"""A reader of pages that minds how their tags nest."""

from html.parser import HTMLParser

VOID = {"meta", "br", "hr"}


class Reader(HTMLParser):
    """Reads a page, and fails where tags do not nest."""

    def __init__(self):
        super().__init__()
        self.open, self.elements, self.text = [], [], []

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        assert len(attrs) == len(dict(attrs)), f"{tag} has an attribute twice"
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)
