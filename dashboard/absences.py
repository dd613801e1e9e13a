"""Which stretch a person asks about: since they last looked, while they were away by their calendar, or between two times.

Asks the Reader; says nothing in words and draws nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from dashboard.house import midnight_s
from dashboard.language import resaid, say
from dashboard.words import local
from service import callers
from service.callers import Stretch, WhileAway
from service.errors import Refused
from service.ports import Reader
from service.presses.away import joined


@dataclass(frozen=True)
class Person:
    """`token`: a random number by which looks are kept. `name`: by which absences are, empty where none was said."""

    token: str
    name: str


@dataclass(frozen=True)
class Wish:
    """As the address of the page has it. `since`: `look`, `away` or nothing; `start` and `end` as 2026-11-25T09:00, local."""

    since: str = ""
    start: str = ""
    end: str = ""


@dataclass(frozen=True)
class Question:
    """What is answered. `absence`: the last one by calendar, as far as it has come to pass; `trouble`: why it is not what was wished."""

    fact: WhileAway
    looked_s: float | None
    absence: Stretch | None
    trouble: str


def question(reader: Reader, site: str, person: Person, wish: Wish, zone: ZoneInfo, now_s: float) -> Question:
    """Where nothing is wished: the last absence, if this person has not looked since it began; or else since they last looked.

    Raises NotFound.
    """
    looked_s = reader.previous_look_s(site, person.token)
    absences = past(reader, site, person.name, now_s)
    absence = absences[-1] if absences else None

    def asked(stretch: Stretch) -> WhileAway:
        return callers.while_away(reader, site, "", stretch, now_s)

    def usual() -> WhileAway:
        unseen = absence is not None and (looked_s is None or looked_s <= absence[0])
        if absence is not None and (wish.since == "away" or (unseen and wish.since != "look")):
            return callers.while_away(reader, site, person.name, None, now_s)
        if looked_s is not None and looked_s < now_s:
            return callers.while_away(reader, site, person.token, None, now_s)
        return asked((min(midnight_s(local(now_s, zone).date(), zone), now_s - 1.0), now_s))

    trouble = ""
    if wish.start or wish.end:
        try:
            return Question(asked(wished(wish, zone, now_s)), looked_s, absence, "")
        except Refused as refusal:
            trouble = resaid(str(refusal))
    try:
        return Question(usual(), looked_s, absence, trouble)
    except Refused as refusal:  # too many to be counted
        today = asked((midnight_s(local(now_s, zone).date(), zone), now_s))
        return Question(today, None, absence, resaid(str(refusal)))


def past(reader: Reader, site: str, name: str, now_s: float) -> Sequence[Stretch]:
    """This person's absences of the last year, joined, as far as they have come to pass; oldest first."""
    if not name:
        return []
    aways = reader.away(site, name, now_s - callers.LOOK_BACK_S, now_s)
    return joined((one.start_s, min(one.end_s, now_s)) for one in aways)


def wished(wish: Wish, zone: ZoneInfo, now_s: float) -> Stretch:
    """Raises Refused."""
    start_s = moment_s(wish.start, zone)
    return start_s, moment_s(wish.end, zone) if wish.end else now_s


def moment_s(text: str, zone: ZoneInfo) -> float:
    """A local time as a form sends it; of an hour that comes twice the first. Raises Refused.

    >>> moment_s("2026-11-25T09:00", ZoneInfo("Europe/London"))
    1795597200.0
    """
    try:
        return datetime.fromisoformat(text).replace(tzinfo=zone).timestamp()
    except (ValueError, OverflowError, OSError):
        raise Refused(say("“{text}” is no time such as 2026-11-25T09:00.", text=text)) from None


def as_field(time_s: float, zone: ZoneInfo) -> str:
    """The value of a form's field."""
    return local(time_s, zone).strftime("%Y-%m-%dT%H:%M")
