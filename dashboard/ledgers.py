"""The plain sheets: nobody claimed yet, packs set aside, names. Makes contexts; knows no HTTP."""

from collections.abc import Sequence
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from dashboard import contexts, words
from dashboard.doorstep import head
from dashboard.house import House
from dashboard.language import resaid, say
from dashboard.svg import drawing, line_across, line_down
from service import model
from service.errors import NotFound
from service.health import Health

SET_ASIDE_PAGE = 50
FIRST_BYTES = 24


def zone_of(site: model.Site) -> ZoneInfo:
    """Raises NotFound where the zone of the record is unknown on this machine."""
    try:
        return ZoneInfo(site.time_zone)
    except (ZoneInfoNotFoundError, ValueError):
        raise NotFound(
            say("The time zone {time_zone} of this house is not known here.", time_zone=f"{site.time_zone!r}")
        ) from None


def first_stroke(house: House, prefix: str) -> str:
    """The topic to publish to, for a house whose record is empty."""
    chime = house.chimes[0].chime if house.chimes else "chime"
    return f"{prefix}/1/{house.site.site}/{chime}/pack"


def unclaimed(chimes: Sequence[model.Chime], now_s: float, zone: ZoneInfo) -> list[contexts.Unclaimed]:
    return [contexts.Unclaimed(one.site, one.chime, words.moment(one.last_heard_s, now_s, zone)) for one in chimes]


def nobody(chimes: Sequence[model.Chime], health: Health, now_s: float, prefix: str) -> contexts.Nobody:
    """Before anything is claimed. Times are in UTC, for no house has told its zone yet."""
    zone = ZoneInfo("UTC")
    lines = [line_across(0.2, 0.75, y, "wire") for y in (1.2, 3.05, 4.9)] + [line_down(0.75, 0.4, 5.7, "now")]
    feint = [line_down(n / 12, 0.2, 5.9, "feint") for n in range(13)]
    headline = (
        words.sentence(
            words.counted(len(chimes), "chime is heard, and not claimed", "chimes are heard, and not claimed")
        )
        if chimes
        else say("Nothing has been recorded yet.")
    )
    since = words.stamp(health.started_s, now_s, zone)
    lead = (
        say("What it says is kept meanwhile. Claim it, and its presses are shown.")
        if len(chimes) == 1
        else say("What they say is kept meanwhile. Claim one, and its presses are shown.")
        if chimes
        else say(
            "Bellcrank has been listening since {since} UTC. Ring the bell, and the stroke will appear here.",
            since=since,
        )
    )
    return contexts.Nobody(
        contexts.Head(say("Doorstep"), "home", at=words.clock(now_s, zone)),
        headline,
        lead,
        unclaimed(chimes, now_s, zone),
        f"{prefix}/1/<site>/<chime>/pack",
        [words.sentence(resaid(trouble)) for trouble in health.troubles() if trouble != health.store_trouble],
        drawing(6.1, *feint, *lines, class_="across begin"),
        contexts.Failure(words.sentence(resaid(health.store_trouble))) if health.store_trouble else None,
    )


def set_aside(house: House, packs: Sequence[model.SetAside], onward: str | None) -> contexts.SetAside:
    rows = [
        contexts.SetAsideRow(
            f"{words.day_and_month(words.local(pack.received_s, house.zone).date())}, "
            f"{words.in_hours(words.local(pack.received_s, house.zone), seconds=True)}",
            pack.topic,
            {"mqtt": "MQTT", "http": "HTTP", "file": say("a recording")}[pack.via],
            words.bytes_in_words(pack.size),
            pack.reason.rstrip(".") + ".",
            shown(pack.payload),
        )
        for pack in packs
    ]
    headline = words.counted(len(rows), "pack was not understood", "packs were not understood")
    if onward:
        headline = say("{number} packs, and older ones, were not understood", number=words.number(len(rows)))
    return contexts.SetAside(
        head(house, say("Set aside"), "set_aside"),
        words.sentence(headline if rows else say("No pack has been set aside")),
        say("Each was kept as it came, with the reason. Nothing else was disturbed by it.")
        if rows
        else say("Whatever has come could be understood."),
        rows,
        onward or "",
    )


def shown(payload: bytes) -> str:
    """The first bytes: as text where they are plain ASCII, else in hexadecimal."""
    first = payload[:FIRST_BYTES]
    more = " …" if len(payload) > FIRST_BYTES else ""
    if first and all(32 <= byte < 127 for byte in first):
        return first.decode("ascii") + more
    return first.hex(" ") + more if first else say("empty")


def names(house: House, zones: Sequence[str], refused: str, done: bool) -> contexts.Names:
    return contexts.Names(
        head(house, say("Names"), "names"),
        house.site.name,
        house.site.time_zone,
        zones,
        [contexts.DoorName(door.chime, door.door, door.name) for door in house.doors],
        resaid(refused),
        say("The new name is kept.") if done else "",
    )
