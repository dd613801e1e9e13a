"""What is said of blind time: how much of a stretch, for what reasons, and since when each door was heard. Draws nothing."""

from collections.abc import Sequence

from dashboard import entries, words
from dashboard.house import House
from dashboard.lanes import lanes_of
from dashboard.language import say
from service import model
from service.findings.verdict import Measured
from service.presses.blind import covered_s

LONG_DAY_S = 25 * 3600.0
"""Within a day the time alone says when [s]."""


def blind(house: House, start_s: float, end_s: float) -> str:
    """Blind time of a stretch with its share and its reasons, the longest first; and what may yet arrive."""
    begun_s = max(start_s, house.first_heard_s if house.first_heard_s is not None else end_s)
    whole_s = end_s - begun_s
    if whole_s <= 0.0:
        return say("Nobody was listening.")
    blind_s = house.unwatched(begun_s, end_s, blind_only=True)
    awaited_s = house.unwatched(begun_s, end_s) - blind_s
    if blind_s < 1.0:
        said = [say("no blind time")]
    else:
        share = words.one_in(blind_s / whole_s)
        causes = reasons(house, house.blind, begun_s, end_s)
        told = say(
            "{duration} of {duration2}, {share}",
            duration=words.duration(blind_s),
            duration2=words.duration(whole_s),
            share=share,
        )
        if len(causes) == 1:
            said = [say("{told}, because {causes}", told=told, causes=causes[0][1])]
        else:
            parts = [
                say("for {duration} {reason}", duration=words.duration(length_s), reason=reason)
                for length_s, reason in causes
            ]
            said = [f"{told}: {words.listed(parts)}" if parts else told]
    if awaited_s >= 1.0:
        said.append(say("what was pressed in the last {duration} may yet arrive", duration=words.duration(awaited_s)))
    return " ".join(words.sentence(part) for part in (*said, *late_doors(house, begun_s, end_s)))


def reasons(house: House, spells: Sequence[model.BlindSpell], start_s: float, end_s: float) -> list[tuple[float, str]]:
    """Why nothing could be recorded at any door, with the time of each [s], the longest first."""
    stretches: dict[str, list[tuple[float, float]]] = {}
    for spell in spells:
        if spell.door is None:
            reason = cause(house, spell)
            ended_s = house.now_s if spell.end_s is None else spell.end_s
            stretches.setdefault(reason, []).append((spell.start_s, ended_s))
    if house.store_trouble:
        stretches.setdefault(say("the record could not be written"), []).append((house.store_since_s, house.now_s))
    found = [(covered_s(some, start_s, end_s), reason) for reason, some in stretches.items()]
    return sorted((one for one in found if one[0] > 0.0), reverse=True)


def cause(house: House, spell: model.BlindSpell) -> str:
    return say(entries.CAUSES[spell.why], who=_who(house, spell.chime))


def _who(house: House, chime: str) -> str:
    return say("the chime") if len(house.chimes) == 1 else say("the {chime} chime", chime=chime.replace("-", " "))


def late_doors(house: House, start_s: float, end_s: float) -> list[str]:
    """Doors of which nothing had been heard for some of the stretch, since the chime itself was first heard."""
    labels = {(lane.chime, lane.door): lane.label for lane in lanes_of(house)}
    said = []
    for spell in house.unfitted:
        last_s = house.now_s if spell.end_s is None else spell.end_s
        if spell.start_s >= end_s or last_s <= start_s:
            continue
        door = labels.get((spell.chime, spell.door), spell.door or "")
        if spell.end_s is None or last_s >= end_s:
            said.append(say("{door} not heard yet", door=door))
        elif end_s - start_s <= LONG_DAY_S:
            said.append(say("{door} first heard at {clock}", door=door, clock=words.clock(last_s, house.zone)))
        else:
            said.append(
                say("{door} first heard {moment}", door=door, moment=words.moment(last_s, house.now_s, house.zone))
            )
    return said


def shortest(house: House, found: Sequence[tuple[model.Chime, Measured | None]]) -> str:
    """The shortest press that is always seen, of each chime: what is shorter may have left no mark."""
    said = []
    for chime, measured in found:
        who = say("this installation") if len(found) == 1 else _who(house, chime.chime)
        if measured is None:
            said.append(say("not known yet for {who}: no survey has told how short a press it still sees", who=who))
            continue
        between = words.to(words.duration(measured.low), words.duration(measured.high))
        said.append(
            say(
                "{duration} at {who}, very likely {between}. A shorter press may leave no stroke",
                duration=words.duration(measured.value),
                who=who,
                between=between,
            )
        )
    return " ".join(words.sentence(part) for part in said)
