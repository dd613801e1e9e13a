"""The language of whoever reads a page. English is what is written in this project; anything else comes from the one catalogue.

The catalogue is gettext's (`languages/`, made by deploy/texts). Pages say their texts with `say`; what the service has put into words
itself, or the record has kept, is said again with `resaid`. Without a page (terminal, API, events) everything stays English.
"""

import gettext
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache, lru_cache
from pathlib import Path

ENGLISH = "en"
TAGS = {ENGLISH: "en-GB", "de": "de"}
"""Languages by their primary subtag, as pages name them (BCP 47)."""

FOLDER = Path(__file__).parent / "languages"
DOMAIN = "bellcrank"
SERVICE = "service"
"""Context, in the catalogue, of what the service says: a text of it may stand in the record in English."""

TOLD_APART = 6
"""Letters that a text with values has at least besides them, to be known again [letters]."""

VALUE = r"(?:(?![.?] [A-Z0-9]).)+?"
FIELDS = r"\w+(?: and \w+)?"
"""What `{field}` stands for: a field of a sheet, or two."""

Translations = gettext.NullTranslations

_language: ContextVar[str] = ContextVar("language", default=ENGLISH)


def language() -> str:
    return _language.get()


def tag() -> str:
    return TAGS[language()]


@contextmanager
def spoken(wanted: str) -> Iterator[None]:
    """Within it everything is said in this language, one of `TAGS`."""
    before = _language.set(wanted)
    try:
        yield
    finally:
        _language.reset(before)


def wanted(header: str) -> str:
    """The language of an Accept-Language field (RFC 9110, 12.5.4), by lookup (RFC 4647, 3.4); English where none is known.

    >>> wanted("de-AT,de;q=0.9,en;q=0.8"), wanted("fr, en;q=0.5, de;q=0.7"), wanted("en-GB,de;q=0.9"), wanted("*"), wanted("")
    ('de', 'de', 'en', 'en', 'en')
    """
    asked: list[tuple[float, str]] = []
    for part in header.split(","):
        name, _, weight = part.partition(";")
        found = re.fullmatch(r"\s*q\s*=\s*([01](?:\.\d{0,3})?)\s*", weight)
        primary = name.strip().partition("-")[0].lower()
        share = float(found[1]) if found else 1.0
        if primary in TAGS and share > 0.0:
            asked.append((-share, primary))
    return min(asked, key=lambda one: one[0], default=(0.0, ENGLISH))[1]


def say(message: str, /, **values: object) -> str:
    """A text in the reader's language; `{name}` in it stands for a value."""
    known = _language.get()
    template = message if known == ENGLISH or not message else catalogue(known).gettext(message)
    return template.format(**values) if values else template


def say_counted(count: int, one: str, many: str, /, **values: object) -> str:
    """The same where it depends on a number. English says “no visit”, with the word for one."""
    known = _language.get()
    english = one if count in (0, 1) else many
    template = english if known == ENGLISH else catalogue(known).ngettext(one, many, count)
    return template.format(**values)


def marked(message: str) -> str:
    """Stands in the catalogue, and is said where it is used."""
    return message


def point() -> str:
    """What stands between a whole number and its decimals."""
    return say("0.5")[1]


def figure(value: float, form: str) -> str:
    """A number by a format of Python, with the reader's decimal point."""
    return f"{value:{form}}".replace(".", point())


def pointed(text: str) -> str:
    """Figures that the service has written, with the reader's decimal point."""
    return re.sub(r"(?<=\d)\.(?=\d)", point(), text)


def resaid(text: str) -> str:
    """What was said in English, by the service or in the record, in the reader's language; as it is where the catalogue has none."""
    return text if _language.get() == ENGLISH or not text else _resaid(_language.get(), text)


@cache
def catalogue(known: str) -> Translations:
    return gettext.translation(DOMAIN, FOLDER, [known])


@lru_cache(2048)
def _resaid(known: str, text: str) -> str:
    """Whole where it is one text of the catalogue, else as many of its sentences at once as are."""
    sentences = re.split(r"(?<=[.?…]) (?=[A-Z“0-9])", text)
    said: list[str] = []
    first = 0
    while first < len(sentences):
        for last in range(len(sentences), first, -1):
            found = _matched(known, " ".join(sentences[first:last]))
            if found is not None:
                break
        said.append(sentences[first] if found is None else found)
        first = first + 1 if found is None else last
    return " ".join(said)


def _matched(known: str, text: str) -> str | None:
    """A message may have been made a sentence of: with a capital, and a full stop."""
    plain = text[:1].lower() + text[1:]
    for form, ending in ((text, ""), (text.removesuffix("."), "."), (plain, ""), (plain.removesuffix("."), ".")):
        said = _exactly(known, form)
        if said is not None:
            capital = said[:1].upper() if form[:1] != text[:1] else said[:1]
            return capital + said[1:] + (ending if text.endswith(".") and ending and not said.endswith(".") else "")
    return None


def _exactly(known: str, text: str) -> str | None:
    texts = catalogue(known)
    said = texts.pgettext(SERVICE, text)
    if said != text:
        return said
    for pattern, message in _patterns(known):
        found = pattern.fullmatch(text)
        if found is not None:
            values = {name: _value(known, value) for name, value in found.groupdict().items()}
            return texts.pgettext(SERVICE, message).format(**values)
    what, colon, why = text.partition(": ")
    if not colon:
        return None
    begun, ended = _exactly(known, what) or _exactly(known, f"{what}:"), _exactly(known, why)
    return f"{begun.removesuffix(':')}: {ended}" if begun and ended else None


def _value(known: str, text: str) -> str:
    """A figure, or words that may be in the catalogue themselves."""
    if re.search(r"[a-z]{3}", text):
        said = _matched(known, text)
        if said is None:
            whole = _matched(known, f"{text}.")
            said = None if whole is None else whole.removesuffix(".")
        if said is not None:
            return said
    if re.fullmatch(r"\w+ and \w+", text):
        parts, _, last = text.partition(" and ")
        return catalogue(known).gettext("{parts} and {last}").format(parts=parts, last=last)
    return re.sub(r"(?<=\d)\.(?=\d)", catalogue(known).gettext("0.5")[1], text)


@cache
def _patterns(known: str) -> list[tuple[re.Pattern[str], str]]:
    """Of what the service says with values in it; the ones with the most words first."""
    held = getattr(catalogue(known), "_catalog", {})
    begun = f"{SERVICE}\x04"
    messages = [
        key.removeprefix(begun) for key in held if isinstance(key, str) and key.startswith(begun) and "{" in key
    ]
    messages = [message for message in messages if _letters(message) >= TOLD_APART]
    messages.sort(key=_letters, reverse=True)
    return [(re.compile(_pattern(message), re.DOTALL), message) for message in messages]


def _letters(message: str) -> int:
    return len(re.findall("[A-Za-z]", re.sub(r"\{\w+\}", "", message)))


def _pattern(message: str) -> str:
    """A value holds no end of a sentence."""
    parts = re.split(r"\{(\w+)\}", message)
    return "".join(
        re.escape(part) if n % 2 == 0 else rf"(?P<{part}>{FIELDS if part == 'field' else VALUE})"
        for n, part in enumerate(parts)
    )
