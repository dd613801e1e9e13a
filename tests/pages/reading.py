"""Reads a page as a person without script and without pictures does: the words outside of drawings."""

import re
from html.parser import HTMLParser

SILENT = {"svg", "script", "style", "title", "datalist", "head"}
VOID = {"meta", "link", "input", "br", "option", "img", "hr"}


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.depth = 0
        self.open: list[str] = []
        self.wrong: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in VOID:
            return
        self.open.append(tag)
        self.depth += tag in SILENT

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        return

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            return
        if not self.open or self.open[-1] != tag:
            self.wrong.append(tag)
            return
        self.open.pop()
        self.depth -= tag in SILENT

    def handle_data(self, data: str) -> None:
        if not self.depth:
            self.words.append(data)


def words_of(page: str) -> str:
    """The text outside of drawings, spaces made plain. Fails where an element is not closed as it was opened."""
    reader = _Reader()
    reader.feed(page)
    assert not reader.wrong, f"closed though not open: {reader.wrong}"
    assert not reader.open, f"never closed: {reader.open}"
    return re.sub(r"\s+", " ", " ".join(reader.words)).replace("\u202f", " ").strip()


def headline(page: str) -> str:
    found = re.search(r"<h1>(.*?)</h1>", page, re.S)
    assert found
    return found[1].replace("\u202f", " ").replace("\u00a0", " ")


def lead(page: str) -> str:
    found = re.search(r'<p class="lead">(.*?)</p>', page, re.S)
    assert found
    return found[1].replace("\u202f", " ").replace("\u00a0", " ")
