"""The sheet of what was looked for: visits by name, note, cadence or door. Knows no HTTP."""

from dashboard import contexts, words
from dashboard.asking import listed_visits
from dashboard.doorstep import head
from dashboard.house import House
from dashboard.language import marked, say
from service.ports import Reader
from service.searching import MOST, Found, search

EMPTY = marked("Names, notes, cadences and doors are looked through, whatever their capitals.")


def make(reader: Reader, house: House, text: str) -> contexts.Found:
    found = search(reader, house.site.site, text, house.now_s)
    return contexts.Found(
        head=head(house, say("Look for"), "found"),
        words=text,
        headline=_headline(text, found),
        lead=_lead(house, text, found),
        listed=listed_visits(house, found.visits),
    )


def _headline(text: str, found: Found) -> str:
    if not text.strip():
        return say("What is to be looked for?")
    if not found.visits:
        return say("Nothing is said of “{text}”.", text=text.strip())
    if found.more:
        return say("More than {most} visits have “{text}”.", most=MOST, text=text.strip())
    return words.sentence(f"{words.counted(len(found.visits), 'visit has', 'visits have')} “{text.strip()}”")


def _lead(house: House, text: str, found: Found) -> str:
    parts = [say(EMPTY)] if not text.strip() or not found.visits else []
    if found.more:
        parts.append(say("These are the newest {most}; a second word narrows it.", most=MOST))
    if found.looked_back_s is not None:
        parts.append(
            say("Cadences are looked for back to {day}.", day=words.day_and_year(found.looked_back_s, house.zone))
        )
    return " ".join(parts)
