"""The Doorstep and the sheet of one day: who rang, when, and what qualifies the answer. Makes contexts; knows no HTTP."""

from collections.abc import Sequence
from datetime import date, timedelta

from dashboard import across, answers, asking, blind_words, contexts, down, words
from dashboard.absences import Question, Wish
from dashboard.house import House, day_stretch, midnight_s
from dashboard.language import resaid, say
from dashboard.marks import Day, day_of
from service import model
from service.findings.verdict import Measured

EARLIER_DAYS = 6


def head(house: House, title: str, page: str) -> contexts.Head:
    """The head of any sheet of this house."""
    heard, last_s = "", house.last_heard_s
    if last_s is not None:
        heard = say("Chime last heard {moment}", moment=words.moment(last_s, house.now_s, house.zone))
        if not house.silent() and not house.store_trouble:
            heard += say(", and listening")
    return contexts.Head(title, page, house.site.site, house.site.name, heard, words.clock(house.now_s, house.zone))


def failure(house: House) -> contexts.Failure | None:
    if not house.store_trouble:
        return None
    since = words.stamp(house.store_since_s, house.now_s, house.zone)
    return contexts.Failure(
        say(
            "{store_trouble} No press has been recorded since {since}. Once the record can be written again, "
            "it will go on by itself.",
            store_trouble=words.sentence(resaid(house.store_trouble)),
            since=since,
        )
    )


def wires(house: House, day: Day) -> contexts.Wires:
    """A day drawn for each width, its words placed for each."""
    narrow = down.draw(day, house.zone)
    medium = across.draw(day, house.zone, across.MEDIUM)
    wide = across.draw(day, house.zone, across.WIDE)
    entries, number = [], 0
    for mark, steps in zip(narrow.told, narrow.steps, strict=False):
        places = f"n{min(steps, down.STEPS_LIMIT)}"
        if mark.kind != "looked":
            for letter, drawn in (("m", medium), ("w", wide)):
                place = drawn.places[number]
                places += f" {letter}{place.track} {letter}r{place.row} {letter}s{place.span}"
            number += 1
        entries.append(contexts.Entry(mark.kind, mark.heading, mark.text, places, mark.kind != "looked", mark.visit))
    heading, text = day.ending
    kind = "now" if day.now_s is not None else "end"
    entries.append(contexts.Entry(kind, heading, text, f"n{min(narrow.steps[-1], down.STEPS_LIMIT)}", False, None))
    prelude = say("Nothing before {hour}.", hour=words.hour(int(narrow.starts_at))) if narrow.starts_at != "00" else ""
    return contexts.Wires(
        narrow.picture,
        medium.picture,
        wide.picture,
        [lane.label for lane in day.lanes],
        entries,
        f"n{narrow.before}",
        prelude,
    )


def counts(house: House, start_s: float, end_s: float) -> tuple[int, int, int]:
    """Visits, doubtful presses and unseen presses of a stretch."""
    visits = [visit for visit in house.visits if start_s <= visit.start_s < end_s]
    doubtful = sum(len(visit.presses) if visit.doubtful else sum(p.doubtful for p in visit.presses) for visit in visits)
    return sum(not visit.doubtful for visit in visits), doubtful, len(house.unseen(start_s, end_s))


def remark(house: House, start_s: float, end_s: float) -> list[str]:
    """A day in a few words, as `four visits` and `no blind time`."""
    first_s = house.first_heard_s
    if first_s is None or first_s >= end_s:
        return [say("not listening yet")]
    visits, doubtful, unseen = counts(house, start_s, end_s)
    parts = [words.counted(visits, "visit")]
    if doubtful:
        parts.append(words.counted(doubtful, "doubtful press", "doubtful presses"))
    if unseen:
        parts.append(words.counted(unseen, "chime with no press seen", "chimes with no press seen"))
    said = [", ".join(parts)]
    if first_s > start_s:
        said.append(say("listening since {clock}", clock=words.clock(first_s, house.zone)))
    blind_s = house.unwatched(max(start_s, first_s), end_s, blind_only=True)
    late = blind_words.late_doors(house, start_s, end_s)
    if blind_s or not late:
        said.append(say("{duration} blind", duration=words.duration(blind_s)) if blind_s else say("no blind time"))
    said += late
    hours = round((end_s - start_s) / 3600)
    if hours != 24:
        said.append(
            say("{hours}\u202fhours, the clocks went back", hours=hours)
            if hours > 24
            else say("{hours}\u202fhours, the clocks went forward", hours=hours)
        )
    return said


def make(
    house: House,
    asked: Question,
    wish: Wish,
    unclaimed: Sequence[contexts.Unclaimed],
    troubles: Sequence[str],
    first_stroke: str,
    sure: Sequence[tuple[model.Chime, Measured | None]],
) -> contexts.Doorstep:
    """`sure`: the shortest press that each chime always sees."""
    today, fact = house.today, asked.fact
    start_s, end_s = day_stretch(today, house.zone)
    since_look = fact.chosen != "by calendar" and (bool(asked.trouble) or not (wish.start or wish.end))
    tell = answers.since_look(house, fact, asked.looked_s) if since_look else answers.while_away(house, fact)
    listed = ([], "") if since_look or fact.start_s >= start_s else asking.listed(house, fact)
    troubles = [*troubles, asked.trouble] if asked.trouble else troubles
    return contexts.Doorstep(
        head=head(house, say("Doorstep"), "doorstep"),
        weekday=words.weekday(today),
        date=words.day_and_month(today),
        year=str(today.year),
        headline=tell[0],
        lead=tell[1],
        choices=asking.choices(house, asked, wish),
        between=asking.between(house, fact, wish),
        listed=listed[0],
        left_out=listed[1],
        wires=wires(house, day_of(house, start_s, end_s, asked.looked_s)),
        earlier=[_earlier(house, today - timedelta(days=n)) for n in range(1, EARLIER_DAYS + 1)],
        totals=_totals(house),
        blind=blind_words.blind(house, house.start_s, house.now_s),
        shortest=blind_words.shortest(house, sure),
        unclaimed=unclaimed,
        troubles=troubles,
        failure=failure(house),
        first_stroke=first_stroke if not house.visits and not fact.visits else "",
    )


def make_day(house: House, day: date) -> contexts.DaySheet:
    """The sheet of one day, which `house` must cover."""
    start_s, end_s = day_stretch(day, house.zone)
    begun_s = house.first_heard_s
    known = begun_s is not None and begun_s < end_s and start_s <= house.now_s
    visits, doubtful, unseen = counts(house, start_s, end_s)
    before, after = day - timedelta(days=1), day + timedelta(days=1)
    lead = ""
    if known and begun_s is not None:
        said = answers.qualified(visits, doubtful, unseen)
        blind_s = house.unwatched(max(start_s, begun_s), min(end_s, house.now_s), blind_only=True)
        said.append(
            say("for {duration} nothing could be recorded", duration=words.duration(blind_s))
            if blind_s
            else say("there was no blind time")
        )
        if round((end_s - start_s) / 3600) != 24:
            said.append(
                say("this day has {hours} hours, because the clocks changed", hours=round((end_s - start_s) / 3600))
            )
        lead = " ".join(words.sentence(part) for part in said)
    return contexts.DaySheet(
        head=head(house, words.day_long(day).replace(words.KEPT, " "), "day"),
        weekday=words.weekday(day),
        date=words.day_and_month(day),
        year=str(day.year),
        headline=words.sentence(say("{visits} on this day", visits=words.counted(visits, "visit")))
        if known
        else say("Nothing was recorded on this day."),
        lead=lead or say("Nobody was listening."),
        wires=wires(house, day_of(house, start_s, end_s)) if known else None,
        blind=blind_words.blind(house, start_s, min(end_s, house.now_s)) if known else "",
        day_before=(before.isoformat(), f"{words.weekday(before)} {words.day_and_month(before)}")
        if begun_s is not None and begun_s < start_s
        else None,
        day_after=(after.isoformat(), f"{words.weekday(after)} {words.day_and_month(after)}")
        if after <= house.today
        else None,
    )


def _earlier(house: House, day: date) -> contexts.EarlierDay:
    start_s, end_s = day_stretch(day, house.zone)
    said = remark(house, start_s, end_s)
    return contexts.EarlierDay(
        day.isoformat(),
        words.weekday_short(day),
        day.day,
        f"{words.weekday(day)} {words.day_and_month(day)}",
        across.draw_row(day_of(house, start_s, end_s), house.zone),
        " ".join(words.sentence(part) for part in said),
        ", ".join(said) + ".",
    )


def _totals(house: House) -> str:
    begun_s = max(midnight_s(house.today - timedelta(days=EARLIER_DAYS), house.zone), house.first_heard_s or 0.0)
    visits, doubtful, unseen = counts(house, begun_s, house.now_s + 1)
    parts = [words.counted(visits, "visit")]
    if doubtful:
        parts.append(words.counted(doubtful, "doubtful press", "doubtful presses"))
    if unseen:
        parts.append(words.counted(unseen, "chime with no press seen", "chimes with no press seen"))
    doors = len(house.doors)
    who = {0: say("The chime was"), 1: say("The door was"), 2: say("Both doors were")}.get(
        doors, say("All {number} doors were", number=words.number(doors))
    )
    if blind_words.late_doors(house, begun_s, house.now_s):
        who = say("The chime was")
    whole_s = max(0.0, house.now_s - begun_s)
    watched_s = whole_s - house.unwatched(begun_s, house.now_s)
    return say(
        "{value} {who} watched for {duration} of {duration2}.",
        value=words.sentence(", ".join(parts)),
        who=who,
        duration=words.duration(watched_s),
        duration2=words.duration(whole_s),
    )
