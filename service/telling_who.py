"""How who rang is told: cadences and lessons, absences, while somebody was away, patterns; JSON-ready dicts, and plain sentences.

Times of day in sentences are those of the site's zone. Knows no HTTP and no store.
"""

from collections.abc import Sequence
from datetime import datetime
from math import ceil, floor
from typing import Any
from zoneinfo import ZoneInfo

from service import telling
from service.callers import Stretch, WhileAway
from service.presses.away import Away
from service.presses.cadence import OWN, TEMPO
from service.presses.lesson import EXAMPLES, LESSON_S, PARTED_S
from service.presses.patterns import Count, Patterns, Rate, StandsOut
from service.teaching import Held
from service.telling import rfc3339, rfc3339_or_none
from service.who_ports import Taught

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")

GAPS_NAMED = 3
"""More gaps than these are counted, not named."""

TOLERANCE = (
    f"Each press and each pause may scatter by {OWN:.0%} about what was taught, and all of them together by {TEMPO:.0%} "
    "(standard deviations); what is further off than 99 of 100 such phrases is not recognised."
)


def counted(count: int, one: str, many: str) -> str:
    """A number with its noun, in words up to twelve.

    >>> counted(1, "caller", "callers"), counted(13, "caller", "callers")
    ('one caller', '13 callers')
    """
    return f"{NUMBERS[count] if count < len(NUMBERS) else count} {one if count == 1 else many}"


# ── cadences ────────────────────────────────────────────────────────────────────────────────────────────────────────


def cadence(fact: Taught) -> dict[str, Any]:
    taught = fact.cadence
    mistaken = ceil(1e4 * taught.mistaken)
    return {
        "name": taught.name,
        "taught": rfc3339(fact.taught_s),
        "by": fact.by,
        "holds_s": [round(value, 3) for value in taught.holds_s],
        "gaps_s": [round(value, 3) for value in taught.gaps_s],
        "tolerance": TOLERANCE,
        "recognised": round(taught.recognised, 4),
        "mistaken": round(taught.mistaken, 6),
        "told": f"{floor(1e3 * taught.recognised)} of 1,000 of your own are recognised, and of 10,000 other visits "
        f"at most {NUMBERS[mistaken] if mistaken < len(NUMBERS) else mistaken} will be taken for it.",
    }


def lesson(held: Held, now_s: float, zone: ZoneInfo) -> dict[str, Any]:
    told = held.lesson
    return {
        "name": told.name,
        "chime": held.chime,
        "door": held.door,
        "stage": told.stage(now_s),
        "begun": rfc3339(told.begun_s),
        "ends": rfc3339(told.ends_s),
        "examples": [
            [{"start": rfc3339(start_s), "end": rfc3339_or_none(end_s)} for start_s, end_s in example]
            for example in told.examples
        ],
        "kept": held.kept,
        "refused": held.refused,
        "told": _told_of_lesson(held, now_s, zone),
    }


def _told_of_lesson(held: Held, now_s: float, zone: ZoneInfo) -> str:
    told = held.lesson
    if held.refused is not None:
        return held.refused
    if held.kept:
        return f"“{told.name}” is taught: from now on it is recognised."
    heard = f"{counted(len(told.examples), 'example', 'examples')} of {NUMBERS[EXAMPLES]}"
    if told.stage(now_s) == "expired":
        return f"The lesson ended after {LESSON_S / 60:.0f} minutes with {heard}; nothing was taught."
    return (
        f"{heard.capitalize()} heard. Press “{told.name}” the same way {NUMBERS[EXAMPLES]} times, with a pause of more than "
        f"{PARTED_S:.0f} s between, before {datetime.fromtimestamp(told.ends_s, zone):%H:%M}."
    )


# ── absences ────────────────────────────────────────────────────────────────────────────────────────────────────────


def away(fact: Away) -> dict[str, Any]:
    return {
        "uid": fact.uid,
        "summary": fact.summary,
        "start": rfc3339(fact.start_s),
        "end": rfc3339(fact.end_s),
    }


def while_away(fact: WhileAway, zone: ZoneInfo) -> dict[str, Any]:
    share = fact.blind.share(fact.start_s, fact.end_s)
    return {
        "told": sentence(fact, zone),
        "chosen": fact.chosen,
        "stretches": [{"start": rfc3339(fact.start_s), "end": rfc3339(fact.end_s)}],
        "complete": fact.complete,
        "visits": [telling.visit(one) for one in fact.visits],
        "doubtful": [telling.visit(one) for one in fact.doubtful],
        "unseen": [telling.unseen(one) for one in fact.unseen],
        "blind": [telling.blind_spell(one) for one in fact.blind.spells],
        "blind_s": round(sum(end_s - start_s for start_s, end_s in fact.blind.gaps_s), 1),
        "share": None if share is None else round(share, 6),
        "pending": fact.pending,
    }


def sentence(fact: WhileAway, zone: ZoneInfo) -> str:
    """Who rang, and what the record cannot know of it: "Three callers while you were away; the record is complete." """
    times = _Times(fact, zone)
    nobody = "Nobody rang" if fact.complete else "Nobody is known to have rung"
    who = counted(len(fact.visits), "caller", "callers").capitalize() if fact.visits else nobody
    told = [f"{who} {_when(fact, times)}"]
    if fact.doubtful:
        told.append(f"{counted(len(fact.doubtful), 'ring', 'rings')} beside that rather damp or induction")
    signs = _signs(fact)
    if signs:
        told.append(f"{counted(signs, 'sign of a press', 'signs of presses')} that nothing recorded")
    if fact.pending:
        told.append(f"{counted(fact.pending, 'pack is', 'packs are')} still to be read")
    return "; ".join([*told, _record(fact, times)]) + "."


def _when(fact: WhileAway, times: "_Times") -> str:
    if fact.chosen == "as asked":
        return f"between {times.begin(fact.start_s)} and {times.end(fact.end_s, fact.start_s)}"
    return {
        "by calendar": "while you were away",
        "since the last look": "since you last looked",
        "since the record began": "since the record began",
    }[fact.chosen]


def _record(fact: WhileAway, times: "_Times") -> str:
    gaps, share = fact.blind.gaps_s, fact.blind.share(fact.start_s, fact.end_s)
    if share is None:
        return f"the record begins later, at {times.begin(fact.blind.first_s)}"
    begins = f"; it begins at {times.begin(fact.blind.first_s)}" if fact.begins_late else ""
    if share >= 1.0 - 1e-9:
        return f"nothing could be recorded in all that time{begins}"
    state = "has no gap" if _signs(fact) or fact.begins_late or fact.pending else "is complete"
    if not gaps:
        return f"the record {state}{begins}"
    if len(gaps) > GAPS_NAMED:
        total = _length(sum(end_s - start_s for start_s, end_s in gaps))
        named = f"{total} in {counted(len(gaps), 'stretch', 'stretches')}"
    else:
        named = _and([times.gap(gap) for gap in gaps])
    return f"the record {state} but for {named}{begins}"


def _signs(fact: WhileAway) -> int:
    """Signs of unseen presses that say more than that packs are missing, which the blind time says as well."""
    return sum(not set(one.why) <= {"packs missing", "records dropped"} for one in fact.unseen)


class _Times:
    """Times of day: with the day where it is not today, and with the zone where the clock changes within the stretch."""

    def __init__(self, fact: WhileAway, zone: ZoneInfo) -> None:
        self._zone, self._now_s = zone, fact.now_s
        ends = [self._at(moment).utcoffset() for moment in (fact.start_s, fact.end_s)]
        self._form = "%H:%M" if ends[0] == ends[1] else "%H:%M %Z"

    def begin(self, at_s: float, beside_s: float | None = None) -> str:
        """The minute it lies in. The day is told where it is not the one of the moment beside, or else not today."""
        at, beside = self._at(at_s), self._at(self._now_s if beside_s is None else beside_s)
        day = (
            ""
            if at.date() == beside.date()
            else f"{at.day} {at:%b %Y} "
            if at.year != beside.year
            else f"{at.day} {at:%b} "
        )
        return f"{day}{at.strftime(self._form)}"

    def end(self, at_s: float, begun_s: float) -> str:
        """The full minute that has it behind."""
        return self.begin(60.0 * ceil(at_s / 60.0), begun_s)

    def gap(self, gap: Stretch) -> str:
        start_s, end_s = gap
        if end_s >= self._now_s:
            return f"the time since {self.begin(start_s)}"
        if end_s - start_s < 60.0:
            return f"{ceil(end_s - start_s)} s at {self.begin(start_s)}"
        return f"{self.begin(start_s)}–{self.end(end_s, start_s)}"

    def _at(self, at_s: float) -> datetime:
        return datetime.fromtimestamp(at_s, self._zone)


def _length(span_s: float) -> str:
    minutes = ceil(span_s / 60.0)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"


# ── patterns ────────────────────────────────────────────────────────────────────────────────────────────────────────


def patterns(stretch: Stretch, fact: Patterns) -> dict[str, Any]:
    return {
        "start": rfc3339(stretch[0]),
        "end": rfc3339(stretch[1]),
        "mean": _rate(fact.mean),
        "table": [[_rate(one) for one in row] for row in fact.table],
        "by_hour": [_rate(one) for one in fact.by_hour],
        "by_weekday": [_rate(one) for one in fact.by_weekday],
        "standing_out": [_standing_out(one) for one in fact.standing_out],
        "quiet_hours": list(fact.quiet_hours),
        "days": [_count(one) for one in fact.days],
        "weeks": [_count(one) for one in fact.weeks],
        "too_little": fact.too_little,
    }


def _rate(fact: Rate) -> dict[str, Any]:
    per_hour, low, high = (None if one is None else round(one, 5) for one in (fact.per_hour, fact.low, fact.high))
    return {
        "visits": fact.visits,
        "watched_h": round(fact.watched_h, 3),
        "per_hour": per_hour,
        "low": low,
        "high": high,
    }


def _count(fact: Count) -> dict[str, Any]:
    return {
        "label": fact.label,
        "visits": fact.visits,
        "hours": round(fact.hours, 3),
        "watched_h": round(fact.watched_h, 3),
    }


def _standing_out(fact: StandsOut) -> dict[str, Any]:
    return {
        "weekday": fact.weekday,
        "hour": fact.hour,
        "times": round(fact.times, 2),
        "rate": _rate(fact.rate),
        "told": _told_of_hour(fact),
    }


def _told_of_hour(fact: StandsOut) -> str:
    days = "Every day" if fact.weekday is None else f"{WEEKDAYS[fact.weekday]}s"
    hours = "" if fact.hour is None else f" from {fact.hour:02d}:00 to {fact.hour + 1:02d}:00"
    return f"{days}{hours}: {fact.times:.1f} times the mean of the house."


def _and(parts: Sequence[str]) -> str:
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)
