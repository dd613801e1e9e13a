"""The sheet of one visit: its presses opened out on a line of seconds, what each of them is, and who it was. Knows no HTTP."""

from markupsafe import Markup

from dashboard import caller_contexts, contexts, entries, words
from dashboard.doorstep import head
from dashboard.house import House
from dashboard.lanes import at_the, door_name
from dashboard.phrase import Held, draw, length_of
from service import model

SURENESS: dict[model.Sureness, str] = {
    "sure": "Sure",
    "likely": "Likely: a single pulse",
    "doubtful": "Doubtful: too short for a finger",
}

WHY: dict[model.RedatingWhy, str] = {
    "better estimate": "the chime’s own clock came to be known better",
    "clock of this host was set": "the clock of this machine was set",
}


def make(
    house: House, visit: model.Visit, by: str, refused: str = "", kept: bool = False
) -> caller_contexts.VisitSheet:
    """`house` must cover the day of the visit. `by`: who is reading, as they said."""
    door = next((one for one in house.doors if (one.chime, one.door) == (visit.chime, visit.door)), None)
    name = door_name(door) if door else visit.door
    day = words.local(visit.start_s, house.zone).date()
    what = "A doubtful contact" if visit.doubtful else "A visit"
    return caller_contexts.VisitSheet(
        head=head(house, f"{name} at {words.clock(visit.start_s, house.zone)}", "visit"),
        visit=visit.id,
        time=words.clock(visit.start_s, house.zone),
        day=day.isoformat(),
        date=f"{words.weekday(day)} {words.day_and_month(day)}",
        year=str(day.year),
        headline=words.sentence(f"{what} at {at_the(name)}, {words.clock(visit.start_s, house.zone)}"),
        lead=entries.told(house, visit),
        picture=_picture(visit),
        presses=_table(house, visit),
        moved=_moved(house, visit),
        who=visit.who or "",
        note=visit.note or "",
        by=by,
        refused=refused,
        done="What you said of this visit is kept." if kept else "",
    )


def _picture(visit: model.Visit) -> Markup:
    presses = [Held(one.start_s - visit.start_s, _length(one), one.doubtful) for one in visit.presses]
    return draw(presses, length_of(presses))


def _length(press: model.Press) -> float | None:
    return None if press.end_s is None or press.cut_off else press.end_s - press.start_s


def _table(house: House, visit: model.Visit) -> contexts.Table:
    rows = []
    for press in visit.presses:
        length_s = _length(press)
        sure = SURENESS[press.sure]
        if press.drop_outs:
            sure += f"; dropped out {words.times(press.drop_outs)}"
        if press.bounce:
            sure += "; the contact bounced"
        held = words.duration(length_s) if length_s else "cut off" if press.cut_off else "not known"
        rows.append(
            contexts.Row(
                (
                    words.local(press.start_s, house.zone).strftime("%H.%M.%S"),
                    held,
                    "–" if press.pulses is None else str(press.pulses),
                    words.duration(press.uncertainty_s),
                    sure,
                )
            )
        )
    return contexts.Table("The presses one by one", ("At", "Held for", "Pulses", "Right to", "How sure"), rows)


def _moved(house: House, visit: model.Visit) -> list[str]:
    """Each time that this visit was dated anew, oldest first."""
    at_s, said = visit.start_s, []
    for one in reversed(house.redatings):
        if one.chime != visit.chime or not one.start_s - 0.001 <= at_s <= one.end_s + 0.001:
            continue
        before_s = at_s - one.shift_s
        way = "later" if one.shift_s > 0 else "earlier"
        said.append(
            f"Until {words.moment(one.at_s, house.now_s, house.zone).removeprefix('at ')} it stood at "
            f"{words.other_time(before_s, at_s, house.zone)}. It was moved {words.duration(abs(one.shift_s))} {way} when {WHY[one.why]}."
        )
        at_s = before_s
    return said[::-1]
