"""The sheet of one visit: its presses opened out on a line of seconds, what each of them is, and who it was. Knows no HTTP."""

from markupsafe import Markup

from dashboard import caller_contexts, contexts, entries, words
from dashboard.doorstep import head
from dashboard.house import House
from dashboard.lanes import at_the, door_name
from dashboard.language import marked, say
from dashboard.phrase import Held, draw, length_of
from service import model

SURENESS: dict[model.Sureness, str] = {
    "sure": marked("Sure"),
    "likely": marked("Likely: a single pulse"),
    "doubtful": marked("Doubtful: too short for a finger"),
}

WHY: dict[model.RedatingWhy, str] = {
    "better estimate": marked("the chime’s own clock came to be known better"),
    "clock of this host was set": marked("the clock of this machine was set"),
}


def make(
    house: House, visit: model.Visit, by: str, refused: str = "", kept: bool = False
) -> caller_contexts.VisitSheet:
    """`house` must cover the day of the visit. `by`: who is reading, as they said."""
    door = next((one for one in house.doors if (one.chime, one.door) == (visit.chime, visit.door)), None)
    name = door_name(door) if door else visit.door
    day = words.local(visit.start_s, house.zone).date()
    what = say("A doubtful contact") if visit.doubtful else say("A visit")
    return caller_contexts.VisitSheet(
        head=head(house, say("{name} at {clock}", name=name, clock=words.clock(visit.start_s, house.zone)), "visit"),
        visit=visit.id,
        time=words.clock(visit.start_s, house.zone),
        day=day.isoformat(),
        date=f"{words.weekday(day)} {words.day_and_month(day)}",
        year=str(day.year),
        headline=words.sentence(
            say(
                "{what} at {at_the}, {clock}",
                what=what,
                at_the=at_the(name),
                clock=words.clock(visit.start_s, house.zone),
            )
        ),
        lead=entries.told(house, visit),
        picture=_picture(visit),
        presses=_table(house, visit),
        moved=_moved(house, visit),
        who=visit.who or "",
        note=visit.note or "",
        by=by,
        refused=refused,
        done=say("What you said of this visit is kept.") if kept else "",
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
        sure = say(SURENESS[press.sure])
        if press.drop_outs:
            sure += say("; dropped out {times}", times=words.times(press.drop_outs))
        if press.bounce:
            sure += say("; the contact bounced")
        held = words.duration(length_s) if length_s else say("cut off") if press.cut_off else say("not known")
        rows.append(
            contexts.Row(
                (
                    words.in_hours(words.local(press.start_s, house.zone), seconds=True),
                    held,
                    "–" if press.pulses is None else str(press.pulses),
                    words.duration(press.uncertainty_s),
                    sure,
                )
            )
        )
    return contexts.Table(
        say("The presses one by one"),
        (say("At"), say("Held for"), say("Pulses"), say("Right to"), say("How sure")),
        rows,
    )


def _moved(house: House, visit: model.Visit) -> list[str]:
    """Each time that this visit was dated anew, oldest first."""
    at_s, said = visit.start_s, []
    for one in reversed(house.redatings):
        if one.chime != visit.chime or not one.start_s - 0.001 <= at_s <= one.end_s + 0.001:
            continue
        before_s = at_s - one.shift_s
        way = say("later") if one.shift_s > 0 else say("earlier")
        said.append(
            say(
                "Until {moment} it stood at {other_time}. It was moved {duration} {way} when {why}.",
                moment=words.stamp(one.at_s, house.now_s, house.zone),
                other_time=words.other_time(before_s, at_s, house.zone),
                duration=words.duration(abs(one.shift_s)),
                way=way,
                why=say(WHY[one.why]),
            )
        )
        at_s = before_s
    return said[::-1]
