"""Promise: every language's list has each text that is said and no other, with the same values; and what runs is compiled from it."""

import re

import pytest
from babel.messages.pofile import read_po

from dashboard import language
from dashboard.language import DOMAIN, ENGLISH, FOLDER, TAGS
from deploy.catalogue import __main__ as catalogue
from deploy.catalogue.found import texts
from service.findings.advice import ADVICE

OTHERS = [name for name in TAGS if name != ENGLISH]


def values(text: str) -> list[str]:
    return sorted(re.findall(r"\{\w+\}|</?\w+>", text))


@pytest.mark.parametrize("name", OTHERS)
def test_nothing_is_missing_and_nothing_is_left_over(name: str) -> None:
    held = catalogue.held(name)
    said = {(one.context or None, one.one) for one in texts()}
    listed = {(one.context, one.id[0] if isinstance(one.id, tuple) else one.id) for one in held if one.id}
    assert listed == said
    assert catalogue.missing(held) == []
    assert not held.obsolete


@pytest.mark.parametrize("name", OTHERS)
def test_a_translation_has_the_values_of_its_text(name: str) -> None:
    """A number may be said in the words around it, as in “ein Besuch”."""
    for message in catalogue.held(name):
        if isinstance(message.id, tuple):
            allowed = values(message.id[1])
            assert all(set(values(form)) <= set(allowed) for form in message.string), message.id
            assert values(message.string[-1]) == allowed, message.id
        elif message.id:
            assert values(message.string) == values(message.id), message.id
            assert message.string[:1].isspace() == message.id[:1].isspace(), message.id


@pytest.mark.parametrize("name", OTHERS)
def test_no_sentence_of_the_advice_stays_english(name: str) -> None:
    """Cautions least of all. A text may be put together from several of the catalogue."""
    with language.spoken(name):
        for advice in ADVICE.values():
            checks = (text for check in advice.checks for text in (check.text,))
            apart = (text for one in advice.apart for text in (one.what, one.check))
            for text in (advice.title, advice.meaning, advice.caution, *checks, *apart):
                said = language.resaid(text)
                for sentence in re.split(r"(?<=[.:]) ", text):
                    assert sentence not in said, text


@pytest.mark.parametrize("name", OTHERS)
def test_what_runs_is_compiled_from_the_list(name: str) -> None:
    with (FOLDER / name / "LC_MESSAGES" / f"{DOMAIN}.po").open("rb") as file:
        listed = read_po(file, locale=name, domain=DOMAIN)
    assert catalogue.compiled_of(name).read_bytes() == catalogue.compiled(catalogue.held(name))
    running = language.catalogue(name)
    for message in listed:
        if isinstance(message.id, str) and message.id:
            found = running.pgettext(message.context, message.id) if message.context else running.gettext(message.id)
            assert found == message.string
    assert running.ngettext("{number} visit", "{number} visits", 0) == "kein Besuch"
    assert running.ngettext("{number} visit", "{number} visits", 1) == "ein Besuch"
    assert running.ngettext("{number} visit", "{number} visits", 2) == "{number} Besuche"
