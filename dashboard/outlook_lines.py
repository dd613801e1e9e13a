"""The outlook in sentences: what drifts, how fast, and when it meets its limit; what does not, and why. Knows no record."""

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from dashboard import quantities, words
from service.findings.outlook import Limit, Outlook

DAY_S = 86_400.0
SOON_S = 90.0 * DAY_S
"""Days are named up to here, beyond it months."""

_TOO_LITTLE = ("too few readings", "too short a time", "it changed at once, and there is too little since")
_LEVEL = ("the slope may as well be nothing", "a healthy supply moves as much by itself")

_NAMES = {
    "reservoir_f": "Reservoir",
    "open_circuit_v": "Open voltage of the transformer",
    "headroom_v": "Headroom",
}
"""Shorter, or without a comma, than in a table."""


def lines(outlooks: Sequence[Outlook], now_s: float, zone: ZoneInfo) -> list[str]:
    """A sentence for each that drifts, has changed at once or is beyond its limit; those that do neither are told together."""
    told = [one for one in outlooks if one.drifts or one.changed_s is not None or one.passed]
    rest = [one for one in outlooks if one not in told]
    said = [f"{_name(one)}: {_told(one, now_s, zone)}." for one in told]
    return said + _together(rest, [one for one in outlooks if one.why in _TOO_LITTLE], len(outlooks))


def _told(one: Outlook, now_s: float, zone: ZoneInfo) -> str:
    parts = []
    if one.changed_s is not None and one.changed_from is not None:
        span = quantities.between(one.name, one.changed_from, one.value)
        parts.append(f"changed at once by {_day(one.changed_s, now_s, zone)}, from {span}")
    if one.drifts:
        parts += _speed(one)
    if one.passed and one.limit is not None:
        since = f" since about {_day(one.at_s, now_s, zone)}" if one.at_s is not None and one.at_s < now_s else ""
        parts.append(f"is beyond {_limit(one.limit, one.name)}{since}")
    elif one.at_s is not None and one.limit is not None:
        parts.append(f"reaches {_limit(one.limit, one.name)} {_when(one, now_s, zone)}")
    elif one.why == "it moves away from the limit":
        parts.append("moves away from its limit")
    elif one.why == "beyond ten years" and one.limit is not None:
        parts.append(f"is more than ten years away from {_limit(one.limit, one.name)}")
    if one.why in _LEVEL:
        parts.append(f"no trend over {_days(one.span_s)}")
    return "; ".join(parts)


def _together(rest: Sequence[Outlook], early: Sequence[Outlook], count: int) -> list[str]:
    said = []
    level = [one for one in rest if one.why in _LEVEL]
    if level:
        said.append(f"No trend over {_days(min(one.span_s for one in level))}: {_names(level)}.")
        said += [
            f"A loss of the reservoir of up to {_percent(-one.share_per_year.low)} a year could hide in that."
            for one in level
            if one.name == "reservoir_f" and one.share_per_year is not None and one.share_per_year.low < 0.0
        ]
    if early:
        most = max(early, key=lambda one: (one.readings, one.span_s))
        surveys = words.counted(most.readings, "day with a survey", "days with a survey")
        over = f", over {_days(most.span_s)}" if most.span_s >= DAY_S else ""
        of_what = "" if len(early) == count > 1 else f" of {_names(early)}"
        said.append(f"Too early for a trend{of_what}: {surveys}{over}. It takes eight at least, over three weeks.")
    return said


def _speed(one: Outlook) -> list[str]:
    if one.per_year is None:
        return []
    verb = "loses" if one.per_year.value < 0.0 else "gains"
    share = one.share_per_year
    if share is not None:
        near, far = (_percent(abs(end)) for end in sorted((share.low, share.high), key=abs))
        return [f"{verb} {_percent(abs(share.value))} a year ({near.removesuffix(words.THIN + '%')} to {far})"]
    near_v, far_v = sorted((abs(one.per_year.low), abs(one.per_year.high)))
    speed = quantities.figure(one.name, abs(one.per_year.value))
    return [f"{verb} {speed} a year ({quantities.between(one.name, near_v, far_v)})"]


def _limit(limit: Limit, name: str) -> str:
    reason = limit.reason.replace(" %", f"{words.THIN}%").replace(" ohm", f"{words.THIN}Ω")
    return f"its limit of {quantities.figure(name, limit.value)} ({reason.replace(' mA', f'{words.THIN}mA')})"


def _when(one: Outlook, now_s: float, zone: ZoneInfo) -> str:
    earliest_s = one.earliest_s if one.earliest_s is not None else now_s
    if one.latest_s is None:
        return f"in {_month(earliest_s, zone)} at the earliest"
    soon = one.latest_s - now_s < SOON_S
    last = _day(one.latest_s, now_s, zone) if soon else _month(one.latest_s, zone)
    if earliest_s <= now_s + DAY_S:
        return f"by {last}"
    first = _day(earliest_s, now_s, zone) if soon else _month(earliest_s, zone)
    if first == last:
        return f"on {last}" if soon else f"in {last}"
    same_year = words.local(earliest_s, zone).year == words.local(one.latest_s, zone).year
    return f"between {first.rpartition(' ')[0] if same_year and not soon else first} and {last}"


def _day(time_s: float, now_s: float, zone: ZoneInfo) -> str:
    day, year = words.local(time_s, zone).date(), words.local(now_s, zone).year
    return words.day_and_month(day) + (f" {day.year}" if day.year != year else "")


def _month(time_s: float, zone: ZoneInfo) -> str:
    day = words.local(time_s, zone).date()
    return f"{words.day_and_month(day).partition(words.KEPT)[2]} {day.year}"


def _days(span_s: float) -> str:
    days = round(span_s / DAY_S)
    return f"{days} days" if days < 100 else f"{round(days / 30.44)} months"


def _name(one: Outlook) -> str:
    return _NAMES.get(one.name) or quantities.name_of(one.name)


def _names(some: Sequence[Outlook]) -> str:
    return words.listed([_name(one)[:1].lower() + _name(one)[1:] for one in some])


def _percent(share: float) -> str:
    percent = 100.0 * share
    return f"{percent:.1f}{words.THIN}%" if percent < 10.0 else f"{percent:.0f}{words.THIN}%"
