"""The month as lines, one a day, with every press and all blind time on the same hours: the drawing of the report. Asks no record."""

from datetime import date, timedelta

from markupsafe import Markup

from dashboard import words
from dashboard.house import House, day_stretch
from dashboard.language import say
from dashboard.report_ink import hatched, inked, line, sheet, text
from service import model

WIDTH = 660.0
LEFT, RIGHT, VISITS, BLIND = 62.0, 550.0, 606.0, 658.0
TOP, PITCH = 22.0, 14.4
REACH = 6.0
"""Of a stroke, above or below its day's line."""


def draw_month(house: House, days: int) -> Markup:
    """The last `days` days, today last. The first door stands above its line, any other below."""
    first = {
        chime.chime: next((door.door for door in house.doors if door.chime == chime.chime), "")
        for chime in house.chimes
    }
    height = TOP + PITCH * days + 6.0
    drawn = [line(_x(hour / 24), TOP - 4, _x(hour / 24), height - 4, "feint") for hour in range(0, 25, 3)]
    drawn += [text(_x(hour / 24), TOP - 10, f"{hour:02d}", "numeral", "middle") for hour in range(0, 25, 3)]
    drawn += [text(VISITS, TOP - 10, say("Visits"), "said", "end"), text(BLIND, TOP - 10, say("Blind"), "said", "end")]
    for number in range(days):
        day = house.today - timedelta(days=days - 1 - number)
        drawn += _day(house, day, TOP + PITCH * (number + 0.5), first)
        if day.weekday() == 6 and number < days - 1:
            drawn.append(line(0, TOP + PITCH * (number + 1), WIDTH, TOP + PITCH * (number + 1), "feint"))
    drawn.append(line(LEFT, height - 4, BLIND, height - 4, "axis"))
    return sheet(WIDTH, height + 2, *drawn, told=told_month(house, days))


def told_month(house: House, days: int) -> str:
    start_s, _ = day_stretch(house.today - timedelta(days=days - 1), house.zone)
    visits = sum(not visit.doubtful for visit in house.visits if visit.start_s >= start_s)
    blind_s = house.unwatched(max(start_s, house.first_heard_s or start_s), house.now_s, blind_only=True)
    return say(
        "{days} days: {visits}; blind time {value}.",
        days=days,
        visits=words.counted(visits, "visit"),
        value=words.duration(blind_s) if blind_s >= 1.0 else say("none"),
    )


def _x(share: float) -> float:
    return LEFT + share * (RIGHT - LEFT)


def _day(house: House, day: date, y: float, first: dict[str, str]) -> list[Markup]:
    start_s, end_s = day_stretch(day, house.zone)
    length_s = end_s - start_s

    def x(moment_s: float) -> float:
        return _x(min(max((moment_s - start_s) / length_s, 0.0), 1.0))

    name = f"{words.weekday_short(day)} {day.day}"
    drawn = [text(LEFT - 10, y + 4, name, "said", "end")]
    begun_s = house.first_heard_s if house.first_heard_s is not None else end_s
    if begun_s < end_s:
        drawn.append(line(x(max(begun_s, start_s)), y, x(min(house.now_s, end_s)), y, "wire"))
    for spell in (*house.blind, *house.unfitted):
        spell_end_s = house.now_s if spell.end_s is None else spell.end_s
        if spell.start_s < end_s and spell_end_s > start_s and spell_end_s > begun_s:
            drawn += _blind(spell, x(max(spell.start_s, begun_s)), x(spell_end_s), y, first)
    visits, strokes = [visit for visit in house.visits if start_s <= visit.start_s < end_s], ""
    for visit in visits:
        side = -1.0 if visit.door == first.get(visit.chime) else 1.0
        for press in visit.presses:
            at = x(press.start_s)
            if press.doubtful or visit.doubtful:
                drawn.append(inked("rect", "open", x=at - 1.6, y=min(y, y + side * REACH), width=3.2, height=REACH))
            else:
                strokes += f"M{at:.1f} {y:.1f}V{y + side * REACH:.1f}"
    drawn += [inked("circle", "dot", cx=x(one.start_s), cy=y, r=2.4) for one in house.unseen(start_s, end_s)]
    if strokes:
        drawn.append(inked("path", "stroke", d=strokes))
    count = sum(not visit.doubtful for visit in visits)
    drawn.append(text(VISITS, y + 4, str(count) if count else "–", "figure", "end"))
    blind_s = (
        house.unwatched(max(start_s, begun_s), min(end_s, house.now_s), blind_only=True) if begun_s < end_s else 0.0
    )
    if blind_s >= 1.0:
        drawn.append(text(BLIND, y + 4, words.duration(blind_s), "figure", "end"))
    return drawn


def _blind(spell: model.BlindSpell, left: float, right: float, y: float, first: dict[str, str]) -> list[Markup]:
    """Of one door: only its side of the line."""
    if spell.door is None:
        return hatched(left, y - REACH, right - left, 2 * REACH)
    if spell.door == first.get(spell.chime):
        return hatched(left, y - REACH, right - left, REACH)
    return hatched(left, y, right - left, REACH)
