"""One day of a house as marks on wires, each with its words. Draws nothing; across.py and down.py do."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from dashboard import entries, words
from dashboard.house import House
from dashboard.lanes import Lane, door_name, lanes_of, places_of
from dashboard.language import say

STROKES_LIMIT = 5
"""More presses than this are drawn as so many strokes, and counted in words."""


@dataclass(frozen=True)
class Mark:
    """Something that happened at a moment. `strokes`: True = doubtful. `sounded`: None = this chime does not tell."""

    kind: Literal["visit", "doubtful", "unseen", "blind", "looked"]
    at_s: float
    lane: int
    chime_lane: int
    strokes: tuple[bool, ...]
    sounded: bool | None
    heading: str
    text: str
    visit: int | None = None  # its number, where there is a sheet of it


@dataclass(frozen=True)
class Break:
    """A stretch in which wires stop: hatched where nothing could be recorded, dotted where it may yet arrive."""

    kind: Literal["blind", "unheard", "failed"]
    start_s: float
    end_s: float
    first_lane: int
    last_lane: int


@dataclass(frozen=True)
class Day:
    """Lanes, marks and breaks of a stretch from `start_s` to `end_s`; `now_s` where it lies in it."""

    start_s: float
    end_s: float
    now_s: float | None
    looked_s: float | None
    lanes: Sequence[Lane]
    marks: Sequence[Mark]
    breaks: Sequence[Break]
    ending: tuple[str, str]  # heading and text at the end of the wires

    def fraction(self, time_s: float) -> float:
        return min(max((time_s - self.start_s) / (self.end_s - self.start_s), 0.0), 1.0)

    @property
    def wires_end_s(self) -> float:
        return min(self.now_s, self.end_s) if self.now_s is not None else self.end_s


def day_of(house: House, start_s: float, end_s: float, looked_s: float | None = None) -> Day:
    """The day of a house; what lies in the future is left blank."""
    lanes = lanes_of(house)
    end = min(end_s, house.now_s + 1.0)
    marks = [
        *_visit_marks(house, lanes, start_s, end),
        *_unseen_marks(house, lanes, start_s, end),
        *_blind_marks(house, lanes, start_s, end),
        *_unfitted_marks(house, lanes, start_s, end),
    ]
    now_s = house.now_s if start_s <= house.now_s < end_s else None
    return Day(
        start_s,
        end_s,
        now_s,
        looked_s if looked_s is not None and start_s <= looked_s < end else None,
        lanes,
        sorted(marks, key=lambda mark: mark.at_s),
        _breaks(house, lanes, start_s, end),
        _ending(house, now_s, end_s),
    )


def _span(house: House, first_s: float, last_s: float, end_s: float) -> str:
    """Only the end of the day itself is told as 24.00."""
    whole = last_s >= end_s and end_s < house.now_s
    return words.to(words.clock(first_s, house.zone), words.hour(24) if whole else words.clock(last_s, house.zone))


def _visit_marks(house: House, lanes: Sequence[Lane], start_s: float, end_s: float) -> list[Mark]:
    places = places_of(lanes)
    names = {(door.chime, door.door): door_name(door) for door in house.doors}
    marks = []
    for visit in house.visits:
        lane = places.get((visit.chime, visit.door))
        if lane is None or not start_s <= visit.start_s < end_s:
            continue
        doubtful = visit.doubtful
        name = say("{label}, doubtful", label=lanes[lane].label) if doubtful else names[visit.chime, visit.door]
        heading = f"{words.clock(visit.start_s, house.zone)} {name}"
        marks.append(
            Mark(
                "doubtful" if doubtful else "visit",
                visit.start_s,
                lane,
                lanes[lane].chime_lane,
                tuple(press.doubtful for press in visit.presses[:STROKES_LIMIT]),
                None if visit.sounded is None else visit.sounded > 0,
                heading,
                entries.told(house, visit),
                visit.id,
            )
        )
    return marks


def _unseen_marks(house: House, lanes: Sequence[Lane], start_s: float, end_s: float) -> list[Mark]:
    places = places_of(lanes)
    marks = []
    for one in house.unseen(start_s, end_s):
        lane = places.get((one.chime, None))
        if lane is None:
            continue
        doors = sum(other.chime == one.chime and other.door is not None for other in lanes)
        marks.append(
            Mark(
                "unseen",
                one.start_s,
                lane,
                lane,
                (),
                "sounded alone" in one.why,
                say(
                    "{clock} {label}, no press seen",
                    clock=words.clock(one.start_s, house.zone),
                    label=lanes[lane].label,
                ),
                entries.unseen(one, doors),
            )
        )
    return marks


def _blind_marks(house: House, lanes: Sequence[Lane], start_s: float, end_s: float) -> list[Mark]:
    places = places_of(lanes)
    marks = []
    for spell in house.blind:
        first, last = max(spell.start_s, start_s), min(spell.end_s if spell.end_s is not None else house.now_s, end_s)
        lane = places.get((spell.chime, None))
        if lane is None or last <= first:
            continue
        who = (
            say("the chime")
            if len(house.chimes) == 1
            else say("the {label}{label2}", label=lanes[lane].label[0].lower(), label2=lanes[lane].label[1:])
        )
        cause = say(entries.CAUSES[spell.why], who=who)
        marks.append(
            Mark(
                "blind",
                first,
                lane,
                lane,
                (),
                None,
                _span(house, first, last, end_s),
                say("Nothing could be recorded: {cause}. A caller may have come and gone.", cause=cause),
            )
        )
    return marks


def _unfitted_marks(house: House, lanes: Sequence[Lane], start_s: float, end_s: float) -> list[Mark]:
    """A door of which nothing had been heard: its wire alone is hatched."""
    places = places_of(lanes)
    marks = []
    for spell in house.unfitted:
        first, last = max(spell.start_s, start_s), min(spell.end_s if spell.end_s is not None else house.now_s, end_s)
        lane = places.get((spell.chime, spell.door))
        if lane is None or last <= first:
            continue
        heading = f"{_span(house, first, last, end_s)} {lanes[lane].label}"
        text = say("Nothing had been heard of this door yet: a press there may have left no mark.")
        marks.append(Mark("blind", first, lane, lane, (), None, heading, text))
    return marks


def _breaks(house: House, lanes: Sequence[Lane], start_s: float, end_s: float) -> list[Break]:
    found: list[Break] = []
    ranges = {
        chime.chime: (
            min(n for n, lane in enumerate(lanes) if lane.chime == chime.chime),
            max(n for n, lane in enumerate(lanes) if lane.chime == chime.chime),
        )
        for chime in house.chimes
    }
    found += [
        Break("blind", spell.start_s, spell.end_s if spell.end_s is not None else house.now_s, *ranges[spell.chime])
        for spell in house.blind
        if spell.chime in ranges
    ]
    places = places_of(lanes)
    found += [
        Break("blind", spell.start_s, spell.end_s if spell.end_s is not None else house.now_s, lane, lane)
        for spell in house.unfitted
        if (lane := places.get((spell.chime, spell.door))) is not None
    ]
    found += [Break("unheard", chime.last_heard_s, house.now_s, *ranges[chime.chime]) for chime in house.silent()]
    if house.store_trouble and lanes:
        found.append(Break("failed", house.store_since_s, house.now_s, 0, len(lanes) - 1))
    return [
        Break(one.kind, max(one.start_s, start_s), min(one.end_s, end_s), one.first_lane, one.last_lane)
        for one in found
        if min(one.end_s, end_s) > max(one.start_s, start_s)
    ]


def _ending(house: House, now_s: float | None, end_s: float) -> tuple[str, str]:
    if now_s is None:
        return words.hour(24), ""
    heading = say("{clock} Now", clock=words.clock(now_s, house.zone))
    if house.store_trouble:
        return heading, say("Not recording.")
    silent = house.silent()
    if not silent:
        return say("{heading}, and listening", heading=heading), ""
    last_s = max(chime.last_heard_s for chime in silent)
    return heading, say("Not heard since {moment}.", moment=words.stamp(last_s, house.now_s, house.zone))
