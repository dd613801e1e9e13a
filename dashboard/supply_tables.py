"""The supply in tables and sentences: the same facts as its drawings. Knows no HTTP and asks no record."""

from bisect import bisect_left
from collections.abc import Sequence

from dashboard import contexts, words
from dashboard.house import House
from dashboard.language import marked, say
from dashboard.supply_points import (
    HIGHEST,
    LOWEST,
    MEAN,
    QUANTITIES,
    SOUNDING,
    bounds,
    compared,
    highest,
    lowest,
    told_bounds,
    values_of,
)
from service import model

HAPPENED_LIMIT = 20
UNTOLD = marked("for a cause it does not tell")
CAUSES = {
    "power-on": marked("after its power came back"),
    "brown-out": marked("after a brown-out"),
    "watchdog": marked("by its watchdog"),
    "software": marked("by its own program"),
}


def figures(
    newest_first: Sequence[model.SupplyPoint], day: Sequence[model.SupplyPoint], month: Sequence[model.SupplyPoint]
) -> contexts.Table:
    rows = []
    for name, figure, unit, decimals in QUANTITIES:
        now = next((value for value in map(figure, newest_first) if value is not None), None)
        whole = bounds(month, figure)
        if whole is None:
            continue
        cells = (words.measured(now, unit, decimals), told_bounds(bounds(day, figure), unit, decimals))
        rows.append(
            contexts.Row((say(name), *cells, told_bounds(whole, unit, decimals), compared(now, whole, unit, decimals)))
        )
    return contexts.Table(
        say("The rail in figures"),
        (say("Quantity"), say("Latest"), say("Last day"), say("Thirty days"), say("In words")),
        rows,
    )


def by_stretch(
    caption: str,
    first: str,
    stretches: Sequence[tuple[float, float, str]],
    points: Sequence[model.SupplyPoint],
    house: House,
    chime: model.Chime,
) -> contexts.Table:
    """`stretches`: (start, end, name)."""
    visits = (visit for visit in house.visits if visit.chime == chime.chime)
    presses = sorted(press.start_s for visit in visits for press in visit.presses)
    sounds = sorted(sounding.start_s for sounding in house.soundings if sounding.chime == chime.chime)
    rows = []
    for start_s, end_s, name in stretches:
        some = [point for point in points if start_s <= (point.start_s + point.end_s) / 2 < end_s]
        means = values_of(some, MEAN)
        mean = sum(means) / len(means) if means else None
        volts = (mean, lowest(some, LOWEST), highest(some, HIGHEST), lowest(some, SOUNDING))
        happened = (bisect_left(moments, end_s) - bisect_left(moments, start_s) for moments in (presses, sounds))
        rows.append(contexts.Row((name, *(words.measured(figure, "V") for figure in volts), *map(str, happened))))
    heads = (first, say("Mean"), say("Lowest"), say("Highest"), say("While sounding"), say("Presses"), say("Sounds"))
    return contexts.Table(caption, heads, rows)


def happened(
    house: House, chime: model.Chime, boots: Sequence[model.Boot], dips: Sequence[tuple[float, bool]], start_s: float
) -> list[str]:
    """Starts, dips of the mains and blind time, newest first."""
    told = [
        (
            boot.start_s,
            say(
                "{moment} the chime started {value}",
                moment=words.moment(boot.start_s, house.now_s, house.zone),
                value=say(CAUSES.get(boot.cause or "", UNTOLD)),
            ),
        )
        for boot in boots
    ]
    for dip_s, rose in dips:
        moment = words.moment(dip_s, house.now_s, house.zone)
        text = (
            say("{moment} the mains rose", moment=moment) if rose else say("{moment} the mains dipped", moment=moment)
        )
        told.append((dip_s, text))
    for spell in house.blind:
        end_s = spell.end_s if spell.end_s is not None else house.now_s
        if spell.chime == chime.chime and end_s > start_s:
            since = words.moment(spell.start_s, house.now_s, house.zone)
            told.append(
                (
                    spell.start_s,
                    say(
                        "{since} it fell blind for {duration}",
                        since=since,
                        duration=words.duration(end_s - spell.start_s),
                    ),
                )
            )
    return [words.sentence(text) for _, text in sorted(told, reverse=True)][:HAPPENED_LIMIT]
