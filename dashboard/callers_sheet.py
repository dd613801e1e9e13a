"""The sheet about callers: hours and days, cadences with the lesson, times away. Puts its parts together; knows no HTTP."""

from dataclasses import dataclass

from dashboard import away_list, cadence_list, caller_contexts, contexts, hours, words
from dashboard.absences import as_field
from dashboard.doorstep import head
from dashboard.house import House
from dashboard.kept import Kept
from dashboard.lanes import door_name
from dashboard.language import marked, say
from service.ports import Reader
from service.teaching import Held

DONE = {
    "forgotten": marked("The cadence is forgotten. Visits of the past are no longer told by it."),
    "named": marked("These are your times away from now on, on this device."),
    "read": marked("The calendar is read, in place of all that stood here."),
    "added": marked("The time away is kept."),
    "removed": marked("It is taken away."),
}


LATELY_S = 2 * 86_400.0
"""A visit within this time changes the patterns at once; one that comes later than that within minutes [s]."""


@dataclass(frozen=True)
class Said:
    """What is answered to a form. `where`: `cadences` or `away`; `text` either a refusal or what was done."""

    where: str = ""
    text: str = ""
    refused: bool = False


def make(
    reader: Reader,
    house: House,
    name: str,
    held: Held | None,
    taught: bool,
    calendar: bool,
    said: Said,
    kept: Kept,
) -> caller_contexts.Callers:
    """`taught`: lessons can be given here. `calendar`: a calendar can be read here. `name`: who is reading, as they said."""
    newest, _ = reader.visits(house.site.site, house.now_s - LATELY_S, house.now_s + 1.0, limit=1, newest_first=True)
    key = (house.site.site, house.today, house.site.time_zone, *((one.id, len(one.presses)) for one in newest))
    found = kept.of(key, house.now_s, lambda: hours.make(reader, house))
    today = house.today
    return caller_contexts.Callers(
        head=head(house, say("Callers"), "callers"),
        at=words.clock(house.now_s, house.zone),
        date=words.day_and_month(today),
        hours=found,
        cadences=cadence_list.taught(house, reader.cadences(house.site.site)),
        lesson=cadence_list.lesson(house, held),
        teaches=taught,
        doors=[contexts.DoorName(one.chime, one.door, door_name(one)) for one in house.doors],
        away=away_list.make(reader, house, name),
        reads_calendars=calendar,
        soonest=as_field(house.now_s, house.zone),
        said=caller_contexts.Said(said.where, said.text, said.refused),
    )
