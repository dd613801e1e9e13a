"""A language of its own for tests: every text of the catalogue in brackets, so that whatever stands outside of them escaped it."""

import gettext
import re
from collections.abc import Iterator
from html.parser import HTMLParser

from dashboard.language import SERVICE
from deploy.catalogue.found import texts

PLAIN = ("0.5", "09.14")
"""Texts of which only a character is used."""

READ_ALOUD = ("aria-label", "title", "alt", "placeholder", "data-lost")


class Bracketed(gettext.NullTranslations):
    """As a compiled catalogue behaves, but that it translates everything it knows."""

    def __init__(self) -> None:
        super().__init__()
        self._known = {one.one for one in texts() if not one.context}
        self._catalog = {f"{SERVICE}\x04{one.one}": one.one for one in texts() if one.context}

    def gettext(self, message: str) -> str:
        return message if message in PLAIN else in_brackets(message)

    def ngettext(self, one: str, many: str, number: int) -> str:
        return in_brackets(one if number in (0, 1) else many)

    def pgettext(self, context: str, message: str) -> str:
        return in_brackets(message) if f"{context}\x04{message}" in self._catalog else message


def in_brackets(message: str) -> str:
    """What stands between values and elements of the text, each by itself."""
    parts = re.split(r"(\{\w+\}|<[^>]+>)", message)
    return "".join(part if n % 2 or not re.search("[A-Za-z]", part) else f"⟦{part}⟧" for n, part in enumerate(parts))


class _Words(HTMLParser):
    """Texts, and attributes that are read aloud, but for code, values that somebody entered, and what is marked as English."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._inside: list[tuple[str, bool]] = []

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.found += [value or "" for name, value in attributes if name in READ_ALOUD]
        if tag not in ("meta", "link", "input", "br", "option", "path", "line", "circle", "rect", "use", "image"):
            self._inside.append((tag, ("lang", "en") in attributes))

    def handle_endtag(self, tag: str) -> None:
        if any(one == tag for one, _ in self._inside):
            while self._inside.pop()[0] != tag:
                pass

    def handle_data(self, data: str) -> None:
        if not any(foreign or tag in ("code", "style", "script", "datalist") for tag, foreign in self._inside):
            self.found.append(data)


def escaped(page: str, allowed: re.Pattern[str]) -> Iterator[str]:
    """Texts of a page with a word outside of brackets that nobody allowed."""
    words = _Words()
    words.feed(page)
    for text in words.found:
        bare = re.sub("^[^⟦]*⟧|⟦[^⟧]*$", " ", text)  # a drawing may break a text
        while re.search("⟦[^⟦⟧]*⟧", bare):
            bare = re.sub("⟦[^⟦⟧]*⟧", " ", bare)
        if re.search(r"[A-Za-zÀ-ž]{3,}", allowed.sub(" ", bare)):
            yield " ".join(text.split())
