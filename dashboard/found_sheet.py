"""The sheet of what was looked for: visits by name, note, cadence or door. Knows no HTTP."""

from dashboard import contexts, words
from dashboard.asking import listed_visits
from dashboard.doorstep import head
from dashboard.house import House
from service.ports import Reader
from service.searching import MOST, Found, search

EMPTY = "Names, notes, cadences and doors are looked through, whatever their capitals."


def make(reader: Reader, house: House, text: str) -> contexts.Found:
    found = search(reader, house.site.site, text, house.now_s)
    return contexts.Found(
        head=head(house, "Look for", "found"),
        words=text,
        headline=_headline(text, found),
        lead=_lead(house, text, found),
        listed=listed_visits(house, found.visits),
    )


def _headline(text: str, found: Found) -> str:
    if not text.strip():
        return "What is to be looked for?"
    if not found.visits:
        return f"Nothing is said of “{text.strip()}”."
    if found.more:
        return f"More than {MOST} visits have “{text.strip()}”."
    return words.sentence(f"{words.counted(len(found.visits), 'visit has', 'visits have')} “{text.strip()}”")


def _lead(house: House, text: str, found: Found) -> str:
    parts = [EMPTY] if not text.strip() or not found.visits else []
    if found.more:
        parts.append(f"These are the newest {MOST}; a second word narrows it.")
    if found.looked_back_s is not None:
        parts.append(f"Cadences are looked for back to {_day(house, found.looked_back_s)}.")
    return " ".join(parts)


def _day(house: House, at_s: float) -> str:
    day = words.local(at_s, house.zone).date()
    return f"{words.day_and_month(day)} {day.year}"
