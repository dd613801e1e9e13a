"""`deploy/texts`: renews the lists of every language and compiles them; `--missing` prints what has no translation."""

import sys
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from dashboard.language import DOMAIN, ENGLISH, FOLDER, TAGS
from deploy.catalogue.found import texts

HEADER = """\
# Texts of Bellcrank. Renewed by deploy/texts: edit only what stands after msgstr.
# What is marked `service` is said by the service in English, also in the API and the record; pages say it again from here.
#"""


def list_of(language: str) -> Path:
    return FOLDER / language / "LC_MESSAGES" / f"{DOMAIN}.po"


def compiled_of(language: str) -> Path:
    return list_of(language).with_suffix(".mo")


def template() -> Catalog:
    made = Catalog(domain=DOMAIN, project="Bellcrank", header_comment=HEADER, fuzzy=False)
    for text in texts():
        said = (text.one, text.many) if text.many else text.one
        made.add(said, context=text.context or None, locations=[(text.place, None)])  # type: ignore[list-item]
    return made


def held(language: str) -> Catalog:
    with list_of(language).open("rb") as file:
        return read_po(file, locale=language, domain=DOMAIN)


def renewed(language: str) -> Catalog:
    """With every text that is said now, and no other; what had a translation keeps it."""
    catalogue = held(language)
    catalogue.update(template(), no_fuzzy_matching=True, update_header_comment=True)
    catalogue.obsolete.clear()
    return catalogue


def written(catalogue: Catalog) -> bytes:
    into = BytesIO()
    write_po(into, catalogue, width=140, omit_header=False, sort_by_file=False, include_lineno=False)
    lines = into.getvalue().decode().splitlines()
    dated = (
        '"POT-Creation-Date',
        '"PO-Revision-Date',
        '"Generated-By',
        '"Last-Translator',
        '"Language-Team',
        '"Report-Msgid',
    )
    return ("\n".join(line for line in lines if not line.startswith(dated)) + "\n").encode()


def compiled(catalogue: Catalog) -> bytes:
    """Without the time of day in its head, so that the same list makes the same file."""
    catalogue.creation_date = catalogue.revision_date = datetime(2000, 1, 1, tzinfo=UTC)
    into = BytesIO()
    write_mo(into, catalogue)
    return into.getvalue()


def missing(catalogue: Catalog) -> list[str]:
    """Texts without a translation, or with one that has other values in it."""
    return [
        str(message.id)
        for message in catalogue
        if message.id and not all(message.string if isinstance(message.string, tuple) else (message.string,))
    ]


def main() -> None:
    for language in TAGS:
        if language == ENGLISH:
            continue
        catalogue = renewed(language)
        without = missing(catalogue)
        if "--missing" in sys.argv[1:]:
            print("\n".join(without))
            continue
        list_of(language).write_bytes(written(catalogue))
        compiled_of(language).write_bytes(compiled(held(language)))
        print(f"{language}: {len(catalogue)} texts, {len(without)} without a translation")


if __name__ == "__main__":
    main()
