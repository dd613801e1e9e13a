"""A person's times away, and what each of them came to. Asks the Reader; makes contexts; knows no HTTP and no calendar format."""

from collections import Counter
from collections.abc import Sequence

from dashboard import caller_contexts, words
from dashboard.answers import summary
from dashboard.house import House
from dashboard.language import resaid, say
from service import callers
from service.errors import Refused
from service.ports import Reader
from service.presses.away import Away

AHEAD_S = 731 * 86_400.0
"""Absences are kept up to two years ahead [s]."""

PAST, COMING = 6, 12
"""So many are shown, the nearest to now."""


def make(reader: Reader, house: House, name: str) -> caller_contexts.AwayList:
    """Of the person of that name; empty where nobody has said a name."""
    found = _of(reader, house, name)
    shared = Counter(one.uid for one in found)
    past = [one for one in found if one.end_s <= house.now_s][::-1]
    coming = [one for one in found if one.end_s > house.now_s]
    return caller_contexts.AwayList(
        name,
        [_row(house, one, shared[one.uid], _coming(house, one)) for one in coming[:COMING]],
        [_row(house, one, shared[one.uid], _came_to(reader, house, one)) for one in past[:PAST]],
        _more(len(coming) - COMING, later=True),
        _more(len(past) - PAST, later=False),
    )


def _of(reader: Reader, house: House, name: str) -> Sequence[Away]:
    if not name:
        return []
    return reader.away(house.site.site, name, house.now_s - callers.LOOK_BACK_S, house.now_s + AHEAD_S)


def _row(house: House, one: Away, shared: int, told: str) -> caller_contexts.AwayRow:
    when = words.days(one.start_s, one.end_s, house.now_s, house.zone)
    button = say("Take away") if shared == 1 else say("Take away all {shared} of this kind", shared=shared)
    return caller_contexts.AwayRow(when, one.summary or say("Away"), told, one.uid, button)


def _coming(house: House, one: Away) -> str:
    if one.start_s > house.now_s:
        return ""
    return say(
        "You are away now, since {moment}.",
        moment=words.stamp(one.start_s, house.now_s, house.zone),
    )


def _came_to(reader: Reader, house: House, one: Away) -> str:
    try:
        fact = callers.while_away(reader, house.site.site, "", (one.start_s, one.end_s), house.now_s)
    except Refused as refusal:
        return resaid(str(refusal))
    return summary(house, fact, "")


def _more(count: int, later: bool) -> str:
    return (
        words.sentence(
            words.counted(count, "later one is not shown", "later ones are not shown")
            if later
            else words.counted(count, "earlier one is not shown", "earlier ones are not shown")
        )
        if count > 0
        else ""
    )
