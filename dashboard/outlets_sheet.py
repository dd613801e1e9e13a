"""The sheet of ways out: where events go, whether they arrive, and what could not be delivered. Knows no HTTP and no network."""

from collections.abc import Sequence
from urllib.parse import urlsplit

from dashboard import outlet_contexts, words
from dashboard.alarm_contexts import Said
from dashboard.alarms_sheet import WEIGHTS, stamp
from dashboard.doorstep import head
from dashboard.house import House
from dashboard.language import marked, resaid, say
from service.alarms.rules import Priority
from service.outbox_ports import Letter, OutboxReader, Waiting
from service.outlets import GOING_OUT, Command, Mail, Outlet, Webhook

DONE = {
    "sent": marked("The test was taken."),
    "again": marked("What was given up is on its way again."),
    "hurried": marked("It is tried now."),
    "off": marked("It is switched off: nothing new is sent there, and what waits goes on waiting."),
    "on": marked("It is switched on."),
}

KINDS = {
    "press": marked("presses"),
    "visit": marked("visits"),
    "unseen": marked("presses that nobody saw"),
    "blind": marked("when presses could not be recorded"),
    "finding": marked("findings"),
    "alarm": marked("alarms"),
}


def make(reader: OutboxReader, house: House, said: Said) -> outlet_contexts.WaysOut:
    here = [one for one in reader.outlets() if one.site in (None, house.site.site)]
    ways = [(one, reader.outbox(one.id), _next(reader, one)) for one in here]
    return outlet_contexts.WaysOut(
        head=head(house, say("Ways out"), "alarms"),
        at=words.clock(house.now_s, house.zone),
        date=words.day_and_month(house.today),
        headline=_headline([(waiting, letter) for _, waiting, letter in ways]),
        lead=say("What happens stands on these sheets, and is told to everybody and everything named here."),
        ways=[_way(reader, house, *one) for one in ways],
        said=said,
    )


def _next(reader: OutboxReader, outlet: Outlet) -> Letter | None:
    """What it is to get next."""
    return next(iter(reader.waiting_letters(outlet.id, 0, 1)), None)


def _headline(ways: Sequence[tuple[Waiting, Letter | None]]) -> str:
    dead = sum(waiting.dead for waiting, _ in ways)
    if not ways:
        return say("Nothing leads out.")
    if dead:
        return say("{events} could not be delivered.", events=words.sentence(words.counted(dead, "event")).rstrip("."))
    if any(letter is not None and letter.tries for _, letter in ways):
        return say("Something has not arrived yet.")
    if any(waiting.waiting for waiting, _ in ways):
        return say("Something waits for its time.")
    return say("Everything has been taken.")


def _way(
    reader: OutboxReader, house: House, outlet: Outlet, waiting: Waiting, following: Letter | None
) -> outlet_contexts.WayOut:
    tried = following is not None and following.tries > 0
    return outlet_contexts.WayOut(
        outlet.id,
        outlet.name,
        " ".join([_leads(outlet), *_conditions(outlet)]),
        " ".join(_stands(reader, house, outlet, waiting, following)),
        on=not outlet.off,
        tried=tried and not outlet.off,
        dead=waiting.dead > 0,
    )


def _leads(outlet: Outlet) -> str:
    way = outlet.way
    if isinstance(way, Webhook):
        return say("To the webhook at {host}.", host=urlsplit(way.url).hostname or "")
    if isinstance(way, Command):
        return say("To the program {program} on this machine.", program=way.program)
    if not isinstance(way, Mail):
        return say("To the broker, for whoever listens there.")
    to = ", ".join(way.to)
    if way.digest == "hour":
        return say("By e-mail to {to}, all of an hour in one.", to=to)
    if way.digest == "day":
        return say("By e-mail to {to}, all of a day in one at {clock}.", to=to, clock=f"{way.digest_hour:02}:00")
    return say("By e-mail to {to}.", to=to)


def _conditions(outlet: Outlet) -> list[str]:
    """What it does not get, and when it has to wait."""
    found = []
    if set(outlet.kinds) != set(GOING_OUT):
        found.append(say("It gets: {kinds}.", kinds=", ".join(say(KINDS[kind]) for kind in outlet.kinds)))
    if outlet.lowest is not Priority.LOW:
        found.append(say("Of these, from “{weight}” on.", weight=say(WEIGHTS[outlet.lowest])))
    if outlet.quiet_from is not None and outlet.quiet_until is not None:
        found.append(
            say(
                "Quiet from {begin} to {end}, but for “{weight}”.",
                begin=outlet.quiet_from,
                end=outlet.quiet_until,
                weight=say(WEIGHTS[outlet.quiet_lowest]),
            )
        )
    if outlet.person is not None and outlet.away_lowest is not None:
        found.append(
            say(
                "Quiet while {person} is away, but for “{weight}”.",
                person=outlet.person,
                weight=say(WEIGHTS[outlet.away_lowest]),
            )
        )
    return found


def _stands(
    reader: OutboxReader, house: House, outlet: Outlet, waiting: Waiting, following: Letter | None
) -> list[str]:
    found = [say("Switched off: {why}", why=words.sentence(resaid(outlet.off)))] if outlet.off else []
    if waiting.delivered_s is not None:
        found.append(say("The last was taken {moment}.", moment=stamp(house, waiting.delivered_s)))
    if waiting.oldest_s is not None:
        events = words.counted(waiting.waiting, "event")
        found.append(say("Waiting: {events}, since {moment}.", events=events, moment=stamp(house, waiting.oldest_s)))
    if following is not None and following.tries:
        tried = words.times(following.tries)
        found.append(say("Tried {times}; the answer: {answer}.", times=tried, answer=resaid(following.answer)))
    if waiting.dead:
        (newest, *_), _ = reader.letters(outlet.id, "dead", limit=1)
        events = words.counted(waiting.dead, "event")
        found.append(say("Given up: {events}; the answer: {answer}.", events=events, answer=resaid(newest.answer)))
    return found or [say("Nothing has been sent yet.")]
