"""What stands under the answer: other stretches to ask about, and a list of what happened in one that the wires do not show."""

from collections.abc import Iterable, Sequence
from urllib.parse import urlencode

from dashboard import contexts, entries, words
from dashboard.absences import Question, Wish, as_field
from dashboard.answers import signs
from dashboard.house import House
from dashboard.lanes import door_name, lanes_of
from dashboard.language import say
from service import model
from service.callers import WhileAway

Happening = tuple[float, str, str, int | None]
"""When it began, its heading, what is said of it, and its visit."""

LISTED = 60
"""More than these stand on the sheets of their days."""


def choices(house: House, asked: Question, wish: Wish) -> list[contexts.Choice]:
    """The address of each is a query, so that it can be kept and sent on."""
    between = bool(wish.start or wish.end) and not asked.trouble
    away = asked.fact.chosen == "by calendar"
    look = say("Today") if asked.looked_s is None else say("Since you last looked")
    found = [contexts.Choice(look, urlencode({"since": "look"}), not away and not between)]
    if asked.absence is not None:
        text = say("While you were away, {days}", days=words.days(*asked.absence, house.now_s, house.zone))
        found.append(contexts.Choice(text, urlencode({"since": "away"}), away and not between))
    return found


def between(house: House, fact: WhileAway, wish: Wish) -> contexts.Between:
    """With what was asked in its fields, or else what is answered."""
    return contexts.Between(
        wish.start or as_field(fact.start_s, house.zone),
        wish.end or as_field(fact.end_s, house.zone),
        as_field(house.now_s, house.zone),
        bool(wish.start or wish.end),
    )


def listed(house: House, fact: WhileAway) -> tuple[Sequence[contexts.Listed], str]:
    """Visits, doubtful contacts and signs of unseen presses, oldest first; and how many earlier ones are left out."""
    labels = {(lane.chime, lane.door): lane.label for lane in lanes_of(house)}
    found = [_visit(house, one) for one in (*fact.visits, *fact.doubtful)]
    for one in signs(fact):
        doors = sum(door.chime == one.chime for door in house.doors)
        name = say("{value}, no press seen", value=labels.get((one.chime, None), say("Chime")))
        found.append((one.start_s, name, entries.unseen(one, doors), None))
    rows = _rows(house, sorted(found, key=lambda row: row[0])[-LISTED:])
    more = len(found) - len(rows)
    left_out = (
        say(
            "{earlier} on the sheets of their days",
            earlier=words.counted(more, "earlier entry stands", "earlier entries stand"),
        )
        if more
        else ""
    )
    return rows, words.sentence(left_out) if more else ""


def listed_visits(house: House, visits: Iterable[model.Visit]) -> Sequence[contexts.Listed]:
    """In the order in which they come."""
    return _rows(house, [_visit(house, one) for one in visits])


def _visit(house: House, visit: model.Visit) -> Happening:
    place = (visit.chime, visit.door)
    if visit.doubtful:
        name = say(
            "{next}, doubtful",
            next=next((one.label for one in lanes_of(house) if (one.chime, one.door) == place), visit.door),
        )
    else:
        name = next((door_name(one) for one in house.doors if (one.chime, one.door) == place), visit.door)
    return visit.start_s, name, entries.told(house, visit), visit.id


def _rows(house: House, happenings: Iterable[Happening]) -> list[contexts.Listed]:
    """Each day is named once, with its year where that is another."""
    rows, before = [], ""
    for start_s, name, text, visit_id in happenings:
        day = words.local(start_s, house.zone).date()
        year = "" if day.year == house.today.year else f" {day.year}"
        said = f"{words.weekday(day)} {words.day_and_month(day)}{year}"
        heading = f"{words.clock(start_s, house.zone)} {name}"
        rows.append(contexts.Listed("" if said == before else said, heading, text, visit_id))
        before = said
    return rows
